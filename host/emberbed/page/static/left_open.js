// A run that a program which has ended left open: said on start, and taken over by a press.

import { clock, el, fill } from "./dom.js";
import { t } from "./words.js";
import { get } from "./wire.js";

export class LeftOpen {
  constructor(page) {
    this.page = page;
    this.node = el("section", { class: "left-open", role: "region", "aria-label": t("left_open.title"), hidden: true });
  }

  async look() {
    const run = await get("/api/left-open").catch(() => null);
    this.node.hidden = run === null;
    if (run === null) return;
    const about = { run: run.id, profile: run.profile, started: run.started, length: clock(run.seconds), device: run.device };
    fill(this.node, [
      el("h2", {}, t("left_open.title")),
      el("p", { class: "big" }, t("left_open.what", about)),
      el("p", {}, t(run.here ? "left_open.how" : "left_open.elsewhere", about)),
      run.here ? el("div", { class: "row" }, el("button", { class: "main", onclick: () => this.page.do("/api/resume") }, t("left_open.do"))) : null,
    ]);
  }
}
