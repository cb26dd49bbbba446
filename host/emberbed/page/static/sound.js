// Beeps without speech: the ear's half of the page. Off until a touch allows it, as browsers ask.
// Muting does not silence trips.

// Each cue is a row of tones, [hertz, seconds], told apart by how many there are and which way they
// go: one = the next stage; three alike = in half a minute; up = you are asked; two low ones alike =
// heat held off until you act; down = over; low, to and fro = trip.
export const CUES = {
  stage: [[590, 0.14]],
  soon: [[740, 0.09], [740, 0.09], [740, 0.09]],
  ask: [[660, 0.16], [880, 0.26]],
  urgent: [[440, 0.3], [440, 0.3]],
  end: [[880, 0.16], [660, 0.16], [520, 0.32]],
  trip: [[300, 0.3], [240, 0.3], [300, 0.3], [240, 0.3]],
};
export const PAUSE_S = 0.07; // between two tones of a cue
export const USUAL_GAIN = 0.35;
export const LOUD_GAIN = 0.9;
const EDGE_S = 0.008; // no click at the ends of a tone
const REPEAT_MS = 10000; // of an alarm that nobody has taken care of
const LOUD_AFTER_MS = 300000; // of a question that nobody has answered

// Puts a cue's tones into an audio graph, to sound from second `at` on; returns when they end.
export function schedule(context, into, cue, at, gain = USUAL_GAIN) {
  for (const [hertz, seconds] of CUES[cue]) {
    const tone = new OscillatorNode(context, { frequency: hertz, type: "triangle" });
    const level = new GainNode(context, { gain: 0 });
    level.gain.setValueAtTime(0, at);
    level.gain.linearRampToValueAtTime(gain, at + EDGE_S);
    level.gain.setValueAtTime(gain, at + seconds - EDGE_S);
    level.gain.linearRampToValueAtTime(0, at + seconds);
    tone.connect(level).connect(into);
    tone.start(at);
    tone.stop(at + seconds);
    at += seconds + PAUSE_S;
  }
  return at - PAUSE_S;
}

export class Sound {
  constructor() {
    this.context = null;
    this.out = null; // all that sounds goes through it
    this.muted = false;
    this.played = new Map(); // cue -> when it was played last
    this.askedAt = 0;
  }

  get on() {
    return this.context !== null && !this.muted;
  }

  // A press of the sound control: on with a sample, or mute.
  toggle() {
    if (this.context === null) {
      this.context = new AudioContext();
      this.out = new GainNode(this.context, { gain: 1 });
      this.out.connect(this.context.destination);
      this.muted = false;
    } else {
      this.muted = !this.muted;
    }
    if (this.on) this.play("ask");
  }

  play(cue, gain = USUAL_GAIN) {
    this.played.set(cue, performance.now());
    if (this.context === null || (this.muted && cue !== "trip")) return;
    schedule(this.context, this.out, cue, this.context.currentTime + 0.02, gain);
  }

  due(cue, everyMs) {
    return performance.now() - (this.played.get(cue) ?? -Infinity) >= everyMs;
  }

  follow(before, now) {
    const [was, is] = [before.facts, now.facts];
    if (now.desk.state !== before.desk.state && ["over", "failed"].includes(now.desk.state)) this.play("end");
    if (!is || now.desk.state !== "on") return;
    if (is.trip && !is.over) {
      if (!was?.trip || this.due("trip", REPEAT_MS)) this.play("trip");
    } else if (is.next.call?.urgent) {
      if (!was?.next.call?.urgent || this.due("urgent", REPEAT_MS)) this.play("urgent");
    } else if (is.ask) {
      this.remind(is.ask, was?.ask);
    } else if (is.press && !was?.press) {
      this.play("ask");
    } else if (is.next.call && !is.press && !was?.next.call) {
      this.play("soon");
    } else if (was && is.heating && is.stage !== was.stage) {
      this.play("stage");
    }
  }

  // A question sounds when it comes and again as often as the profile says, louder in the end.
  remind(ask, before) {
    const now = performance.now();
    const fresh = ask.prompt !== before?.prompt;
    if (fresh) this.askedAt = now;
    if (fresh || this.due("ask", ask.remind_s * 1000)) this.play("ask", now - this.askedAt > LOUD_AFTER_MS ? LOUD_GAIN : USUAL_GAIN);
  }
}
