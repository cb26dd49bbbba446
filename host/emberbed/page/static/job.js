// The job of the bench record that a run belongs to, and how far its checklists are.

import { el, fill } from "./dom.js";
import { t } from "./words.js";
import { get } from "./wire.js";

export class RunsJob {
  constructor(page, run) {
    this.page = page;
    this.run = run;
    this.node = el("section", { "aria-label": t("job.title") });
  }

  async look() {
    const head = el("h2", {}, t("job.title"));
    try {
      const job = await get(`/api/runs/${this.run}/job`);
      fill(this.node, [head, job ? this.told(job) : this.none()]);
    } catch (failure) {
      fill(this.node, [head, (failure.sentences ?? []).map((one) => el("p", {}, one))]);
    }
  }

  none() {
    const open = async () => (await this.page.do(`/api/runs/${this.run}/job`)) && this.look();
    return [el("p", {}, t("job.none")), el("div", { class: "row" }, el("button", { class: "small", onclick: open }, t("job.open")))];
  }

  told(job) {
    const rows = job.lists.map((list) => el("li", { class: list.open.length ? "warning" : null }, el("b", {}, list.title),
      t(list.open.length ? "job.answered" : "job.complete", { ...list, open: list.open.join(", ") })));
    return [el("ul", { class: "sentences" }, rows),
      el("div", { class: "row" }, el("a", { class: "button", href: `#/jobs/${job.job}` }, job.title))];
  }
}
