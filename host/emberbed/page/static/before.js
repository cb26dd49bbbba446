// One screen, one press: what has to be so before heat, and where the sensors lay last time.

import { el, fill } from "./dom.js";
import { t } from "./words.js";
import { Placement } from "./placement.js";

export class BeforeView {
  constructor(page, profile, back) {
    this.page = page;
    this.profile = profile;
    this.board = profile.check.name;
    this.note = el("input", { id: "place", maxlength: "200" });
    this.when = el("p", {});
    this.placement = new Placement(page, this.board, () => this.note.value);
    this.button = el("button", { class: "main", onclick: () => this.load() }, t("before.load"));
    this.node = el("div", {},
      el("h1", {}, t("before.title", { name: this.board })), this.when,
      el("div", { class: "preparing" },
        el("div", {},
          el("ul", { class: "before" }, Object.keys(page.about.items).map((key) => el("li", {}, t(`before.${key}`)))),
          el("label", { for: "place" }, t("before.place")), this.note,
          el("div", { class: "row" }, this.button, el("button", { onclick: back }, t("before.back"))),
          el("p", { class: "quiet" }, t("before.after"))),
        this.placement.node));
  }

  async look() {
    const before = await this.placement.look();
    this.note.value = before?.note ?? "";
    fill(this.when, [before ? t("before.again", { at: before.at }) : t("before.first")]);
    this.button.focus();
  }

  async load() {
    this.button.disabled = true;
    await this.placement.settle();
    const { where, name } = this.profile;
    const confirmed = Object.keys(this.page.about.items);
    const taken = await this.page.do("/api/run", { where, name, board: this.board, confirmed, note: this.note.value });
    if (!taken) this.button.disabled = false;
  }
}
