// Where the sensors lay on the last board of a type: its photograph, and taking a new one.

import { el, fill, say } from "./dom.js";
import { t } from "./words.js";
import { get, postPhoto } from "./wire.js";

export const KINDS = ["image/jpeg", "image/png"];
const MOST_BYTES = 20 * 1024 * 1024;

// Returns why a file is no photograph that can be sent, "" for one that is.
export function whyNot(file) {
  if (!KINDS.includes(file.type)) return t("placement.kind");
  return file.size > MOST_BYTES ? t("placement.size") : "";
}

export class Placement {
  // `note()` gives the words that go with a photograph; `run` is its run, null before one
  constructor(page, board, note, run = null) {
    this.page = page;
    this.board = board;
    this.note = note;
    this.run = run;
    this.picture = el("div");
    this.said = el("p", { class: "big told", role: "alert" });
    this.file = el("input", { type: "file", class: "unseen", accept: KINDS.join(","), capture: "environment", onchange: () => this.take() });
    this.button = el("label", { class: "button" }, this.file, el("span", {}, t("placement.take")));
    this.node = el("section", { class: "placement", "aria-label": t("placement.title") },
      el("h2", {}, t("placement.title")), this.picture, el("div", { class: "row" }, this.button), this.said);
    this.sent = null; // the file and the words it was kept with
  }

  async look() {
    const before = await get(`/api/before-heat?board=${encodeURIComponent(this.board)}`).catch(() => null);
    const address = `${this.address()}&at=${Date.now()}`; // a new photograph has the same address
    fill(this.picture, [before?.photo
      ? el("figure", {}, el("img", { src: address, alt: t("placement.alt", { board: this.board, at: before.at }) }),
        el("figcaption", {}, t("placement.caption", { at: before.at })))
      : el("p", { class: "quiet" }, t("placement.none"))]);
    return before;
  }

  address() {
    return `/api/before-heat/photo?board=${encodeURIComponent(this.board)}`;
  }

  async take() {
    const [file] = this.file.files;
    this.file.value = "";
    if (!file) return;
    const wrong = whyNot(file);
    if (wrong) say(this.said, wrong);
    else await this.send(file);
  }

  async send(file) {
    const note = this.note();
    const run = this.run === null ? "" : `&run=${this.run}`;
    say(this.said, t("placement.sending"));
    try {
      await postPhoto(`${this.address()}&note=${encodeURIComponent(note)}${run}`, file);
      this.sent = { file, note };
      say(this.said, "");
      await this.look();
    } catch (failure) {
      say(this.said, failure.sentences.join(" ") || t("link.closed"));
    }
  }

  // The words have changed since the photograph was sent: it goes with the new ones.
  async settle() {
    if (this.sent && this.sent.note !== this.note()) await this.send(this.sent.file);
  }
}
