// Beeps without speech: the ear's half of the page. Off until a touch allows it, as browsers ask.
// Muting does not silence trips.

const CUES = {
  soon: [[660, 0.12]],
  ask: [[660, 0.14], [880, 0.2]],
  end: [[880, 0.14], [660, 0.14], [520, 0.3]],
  trip: [[300, 0.3], [240, 0.3], [300, 0.3], [240, 0.3]],
};
const REPEAT_MS = 10000; // of an alarm that nobody has taken care of

export class Sound {
  constructor() {
    this.context = null;
    this.muted = false;
  }

  get on() {
    return this.context !== null && !this.muted;
  }

  // A press of the sound control: on with a sample, or mute.
  toggle() {
    if (this.context === null) {
      this.context = new AudioContext();
      this.muted = false;
    } else {
      this.muted = !this.muted;
    }
    if (this.on) this.play("ask");
  }

  play(cue) {
    if (this.context === null || (this.muted && cue !== "trip")) return;
    let at = this.context.currentTime + 0.02;
    for (const [hertz, seconds] of CUES[cue]) {
      const tone = new OscillatorNode(this.context, { frequency: hertz, type: "triangle" });
      const gain = new GainNode(this.context, { gain: 0.25 });
      tone.connect(gain).connect(this.context.destination);
      tone.start(at);
      tone.stop(at + seconds);
      at += seconds + 0.05;
    }
  }

  follow(before, now) {
    const [was, is] = [before.facts, now.facts];
    if (is?.trip && !is.over) {
      if (!was?.trip || performance.now() - (this.tripped ?? 0) > REPEAT_MS) {
        this.tripped = performance.now();
        this.play("trip");
      }
      return;
    }
    if (is?.ask && is.ask.prompt !== was?.ask?.prompt) this.play("ask");
    else if (is?.press && !was?.press) this.play("ask");
    else if (is?.next.call && !was?.next.call) this.play("soon");
    if (now.desk.state !== before.desk.state && ["over", "failed"].includes(now.desk.state)) this.play("end");
  }
}
