// The bench screen: the run that is on or has just ended, otherwise choosing the next one.

import { el, fill } from "./dom.js";
import { t } from "./words.js";
import { ChooseView } from "./choose.js";
import { LiveView } from "./live.js";

export class BenchScreen {
  constructor(page) {
    this.page = page;
    this.node = el("div");
    this.starting = starting("starting");
    this.resuming = starting("resuming");
  }

  enter(where, name) {
    this.chosen = where && name ? { where, name } : null;
    if (this.chosen && this.view === this.choose) this.choose?.pick(this.chosen);
  }

  update(moment) {
    const view = this.viewFor(moment);
    if (view !== this.view) {
      this.view = view;
      fill(this.node, [view.node ?? view]);
      view.enter?.(this.chosen);
    }
    view.update?.(moment);
  }

  viewFor({ desk }) {
    if (desk.state === "starting") return desk.resumes ? this.resuming : this.starting;
    if (desk.state === "idle") {
      if (this.page.about.guest || this.page.about.fixed) return (this.nothing ??= el("h1", {}, t("nothing_on")));
      this.live = this.failed = null; // a new run has a new view
      return (this.choose ??= new ChooseView(this.page));
    }
    if (desk.state === "failed" && !desk.broke_off) return (this.failed ??= this.newFailed(desk));
    this.failed = null;
    return (this.live ??= new LiveView(this.page));
  }

  newFailed(desk) {
    const again = () => {
      this.failed = null;
      this.page.do("/api/clear");
    };
    return el("div", {}, el("h1", {}, t(desk.resumes ? "verdict.not_taken" : "verdict.failed")),
      desk.sentences.map((one) => el("p", { class: "big" }, one)),
      el("p", {}, t(desk.resumes ? "verdict.not_taken_heat" : "verdict.nothing_heated")),
      el("div", { class: "row" }, el("button", { class: "main", onclick: again }, t("verdict.back"))));
  }
}

function starting(key) {
  return el("div", {}, el("h1", {}, t(`${key}.title`)), el("p", { class: "big" }, t(`${key}.what`)));
}
