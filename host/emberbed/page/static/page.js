// The page as a whole: let in, the head, the screens, and what is on every screen while a run is on.

import { el, fill, say, show, showFahrenheit } from "./dom.js";
import { loadTexts, t } from "./words.js";
import { Failure, Live, keepToken, post, takeToken } from "./wire.js";
import { BenchScreen } from "./bench.js";
import { RunsScreen } from "./runs.js";
import { JobsScreen } from "./jobs.js";
import { EditScreen } from "./editor.js";
import { HeaterScreen } from "./heater.js";
import { Hands } from "./hands.js";
import { Sound } from "./sound.js";

const SCREENS = { bench: BenchScreen, runs: RunsScreen, jobs: JobsScreen, edit: EditScreen, heater: HeaterScreen };
const HANDBOOK = "/handbook/index.html";
const OLD_S = 2; // a reading older than this is shown as old

class Page {
  constructor(about) {
    this.about = about;
    showFahrenheit(about.fahrenheit);
    this.moment = { desk: { state: "idle" }, events: [], pins: [], columns: [], facts: null };
    this.sound = new Sound();
    this.hands = new Hands(this);
    this.head();
    this.screens = {};
    document.querySelector(".skip").addEventListener("click", (event) => {
      event.preventDefault(); // the part behind the # is the screen's
      document.getElementById("main").focus();
    });
    addEventListener("hashchange", () => this.open());
    addEventListener("keydown", (event) => this.hands.key(event));
    this.open();
    this.live = new Live((moment) => this.take(moment), (seconds) => this.quiet(seconds));
  }

  head() {
    const names = this.about.guest ? ["bench"] : ["bench", "runs", "jobs", "edit", "heater"];
    this.links = names.map((name) => el("a", { href: `#/${name}` }, t(`screens.${name}`)));
    this.title = el("span");
    this.link = el("span", { class: "link" });
    this.simulation = new Simulation(this);
    // a tab of its own: whoever reads there keeps the run in sight here
    const handbook = el("a", { href: HANDBOOK, target: "_blank", rel: "noopener" }, t("screens.handbook"));
    const nav = this.about.guest ? null : el("nav", { "aria-label": t("screens.all") }, this.links, handbook);
    const strip = el("div", { class: "strip" }, this.title, this.simulation.node, this.link);
    fill(document.getElementById("top"), [nav, strip]);
  }

  open() {
    const [name, ...rest] = location.hash.replace(/^#\//, "").split("/").map(decodeURIComponent);
    const known = !this.about.guest && name in SCREENS ? name : "bench";
    this.screen?.leave?.();
    this.screen = this.screens[known] ??= new SCREENS[known](this);
    for (const link of this.links) {
      if (link.hash === `#/${known}`) link.setAttribute("aria-current", "page");
      else link.removeAttribute("aria-current");
    }
    fill(document.getElementById("main"), [this.screen.node]);
    document.title = `${t(`screens.${known}`)} · Emberbed`;
    this.screen.enter?.(...rest);
    this.screen.update?.(this.moment);
  }

  take(moment) {
    const before = this.moment;
    this.moment = { ...before, ...moment, lost: 0 };
    const { desk, facts } = this.moment;
    const on = desk.state === "on";
    this.old = on && this.moment.silent_s > OLD_S ? this.moment.silent_s : 0;
    this.strip(on, facts);
    this.sound.follow(before, this.moment);
    this.hands.update(this.moment);
    this.screen.update?.(this.moment);
    this.read(before, this.moment);
  }

  // The server is silent: what is on the screen is old, and says so by our own clock.
  quiet(seconds) {
    this.moment = { ...this.moment, lost: seconds };
    this.old = seconds;
    this.strip(false, this.moment.facts);
    this.link.className = "link gone";
    say(this.link, t("link.server_gone", { seconds: Math.round(seconds) }));
    this.hands.update(this.moment);
    this.screen.update?.(this.moment);
  }

  strip(on, facts) {
    const about = this.moment.about ?? {};
    const run = about.run_id ? t("strip.run", { run: about.run_id, profile: about.profile }) : "";
    say(this.title, run && facts ? `${run} · ${facts.clock}` : run);
    this.simulation.update(on, facts);
    this.link.className = this.old ? "link gone" : "link";
    if (!on) say(this.link, "");
    else if (this.old) say(this.link, t("link.old", { seconds: Math.round(this.old) }));
    else say(this.link, t("link.good"));
  }

  // For people who listen: what is asked, and alarms.
  read(before, moment) {
    const ask = moment.facts?.ask?.text ?? moment.facts?.press?.text ?? "";
    say(document.getElementById("said"), ask);
    const trip = moment.facts?.trip;
    say(document.getElementById("alarm"), trip ? `${trip.happened} ${trip.mend}` : "");
  }

  // What a request could not do, in the person's sight.
  tell(failure) {
    const gone = t("link.server_gone", { seconds: 0 });
    const told = failure instanceof Failure && failure.sentences.length ? failure.sentences : [gone];
    this.hands.tell(told);
  }

  async do(path, body) {
    try {
      return await post(path, body);
    } catch (failure) {
      this.tell(failure);
      return null;
    }
  }
}

// The simulated hand at a simulated bench, apart from all else; a real bench has none.
class Simulation {
  constructor(page) {
    this.page = page;
    const act = (what) => () => page.do("/api/simulated", { act: what });
    this.press = el("button", { class: "small", onclick: act("press") }, t("simulated.press"));
    this.air = el("button", { class: "small", onclick: act("air") });
    this.node = el("div", { class: "simulation", role: "group", "aria-label": t("simulated.group") },
      el("span", {}, t("simulated.tag")), this.press, this.air);
  }

  update(on, facts) {
    const { simulated, guest } = this.page.about;
    show(this.node, simulated);
    show(this.press, on && !guest && Boolean(facts?.press));
    show(this.air, on && !guest && Boolean(facts?.heating));
    say(this.air, t(facts?.blows ? "simulated.air_off" : "simulated.air_on"));
  }
}

// A page without a valid token: what to do, and on a shared address the pairing.
function closed(failure) {
  const told = failure.sentences?.length ? failure.sentences.join(" ") : t("link.closed");
  const main = document.getElementById("main");
  if (["127.0.0.1", "localhost"].includes(location.hostname)) {
    fill(main, [el("h1", {}, t("closed.title")), el("p", { class: "big" }, told)]);
    return;
  }
  const code = el("input", { class: "code", inputmode: "numeric", maxlength: "6", autocomplete: "off", id: "code" });
  const said = el("p", { class: "big", role: "alert" });
  const pair = async () => {
    try {
      keepToken((await post("/api/pair", { code: code.value.trim() })).token);
      await begin();
    } catch (wrong) {
      say(said, wrong.sentences.join(" "));
    }
  };
  code.addEventListener("keydown", (event) => event.key === "Enter" && pair());
  fill(main, [
    el("h1", {}, t("pair.title")),
    el("p", {}, t("pair.how")),
    el("label", { for: "code" }, t("pair.code")),
    el("div", { class: "row" }, code, el("button", { class: "main", onclick: pair }, t("pair.do"))),
    said,
  ]);
}

async function begin() {
  try {
    window.emberbed = new Page(await post("/api/enter"));
  } catch (failure) {
    if (!(failure instanceof Failure)) throw failure;
    closed(failure);
  }
}

takeToken();
await loadTexts();
await begin();
