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
    this.type = el("input", { id: "board-type", maxlength: "80", value: this.board, onchange: () => this.another() });
    this.placement = new Placement(page, this.board, () => this.note.value);
    this.button = el("button", { class: "main", onclick: () => this.load() }, t("before.load"));
    this.node = el("div", {},
      el("h1", {}, t("before.title", { name: this.board })), this.when,
      el("div", { class: "preparing" },
        el("div", {},
          el("ul", { class: "before" }, Object.keys(page.about.items).map((key) => el("li", {}, t(`before.${key}`)))),
          el("div", { class: "fields" },
            el("div", {}, el("label", { for: "board-type" }, t("before.board")), this.type, el("p", { class: "quiet" }, t("before.board_how"))),
            el("div", {}, el("label", { for: "place" }, t("before.place")), this.note)),
          el("div", { class: "row" }, this.button, el("button", { onclick: back }, t("before.back"))),
          el("p", { class: "quiet" }, t("before.after"))),
        this.placement.node));
  }

  async look() {
    await this.recall();
    this.button.focus();
  }

  // What was told of this type of board last; a note that a person has typed meanwhile stays.
  async recall() {
    const before = await this.placement.look();
    if (this.note.value === (this.recalled ?? "")) this.note.value = before?.note ?? "";
    this.recalled = before?.note ?? "";
    fill(this.when, [before ? t("before.again", { at: before.at }) : t("before.first")]);
  }

  // Another type of board has its own note and photograph.
  async another() {
    this.board = this.type.value.trim() || this.profile.check.name;
    this.type.value = this.placement.board = this.board;
    this.placement.sent = null;
    await this.recall();
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
