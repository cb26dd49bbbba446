// What is added to a job on the page, and taken back there: photographs, parts, tests.

import { el, say } from "./dom.js";
import { t } from "./words.js";
import { postPhoto } from "./wire.js";
import { KINDS, whyNot } from "./placement.js";

const LONGEST = { note: 500, name: 80, count: 5, each: 14, minutes: 6 };

export class JobItems {
  // `fresh()` shows the job anew once something was added or taken back
  constructor(page, job, fresh) {
    this.page = page;
    this.job = job;
    this.fresh = fresh;
    this.at = `/api/jobs/${job.job}`;
  }

  photos() {
    const shown = el("div", { class: "row" }, this.job.photos.map((photo) => {
      const said = photo.note ? `${photo.kind}: ${photo.note}` : photo.kind;
      return el("figure", {}, el("img", { src: `${this.at}/photo/${photo.number}`, alt: said, class: "kept" }),
        el("figcaption", {}, said, " ", this.back("photo", photo.number)));
    }));
    const of = choice("photo-of", this.job.photo_kinds);
    const note = box("photo-note", "note");
    const told = el("p", { class: "big told", role: "alert" });
    const file = el("input", { type: "file", class: "unseen", accept: KINDS.join(","), onchange: () => this.send(file, of.value, note.value, told) });
    return el("div", {}, shown, fields([["photo_of", of], ["item_note", note]]),
      el("div", { class: "row" }, el("label", { class: "button" }, file, el("span", {}, t("placement.take")))), told);
  }

  async send(input, of, note, told) {
    const [file] = input.files;
    input.value = "";
    if (!file) return;
    const wrong = whyNot(file);
    say(told, wrong || t("placement.sending"));
    if (wrong) return;
    try {
      await postPhoto(`${this.at}/photo?of=${of}&note=${encodeURIComponent(note)}`, file);
      await this.fresh();
    } catch (failure) {
      say(told, failure.sentences?.join(" ") || t("link.closed"));
    }
  }

  parts() {
    const name = box("part-name", "name");
    const count = box("part-count", "count", "1");
    const each = box("part-each", "each");
    const add = () => this.keep("part", { name: name.value, count: Number(count.value.trim() || "0"), each: each.value });
    const line = (part) => `${part.count} × ${part.name}${part.each === null ? "" : ` (${part.each} ${this.job.costs_in})`}`;
    return el("div", {}, this.list("part", this.job.parts, (part) => [line(part)]),
      fields([["part_name", name], ["part_count", count], ["part_each", each]]), button("part_do", add));
  }

  tests() {
    const kind = choice("test-kind", this.job.test_kinds);
    const minutes = box("test-minutes", "minutes");
    const note = box("test-note", "note");
    const add = (passed) => () => this.keep("test", { kind: kind.value, passed, minutes: minutes.value, note: note.value });
    return el("div", {}, this.list("test", this.job.tests, (test) => test.lines),
      fields([["test_kind", kind], ["test_minutes", minutes], ["item_note", note]]),
      el("div", { class: "row" }, button("test_passed", add(true)), button("test_failed", add(false))));
  }

  async keep(what, told) {
    if (await this.page.do(`${this.at}/${what}`, told)) await this.fresh();
  }

  list(what, items, lines) {
    return el("ul", { class: "sentences" }, items.map((item) =>
      el("li", {}, lines(item).map((line) => el("p", {}, line)), this.back(what, item.number))));
  }

  back(what, number) {
    return el("button", { class: "small", "aria-label": t(`jobs.back_${what}`, { number }),
      onclick: () => this.keep("take-back", { what, number }) }, t("jobs.take_back"));
  }
}

function box(id, key, value = "") {
  return el("input", { id, maxlength: String(LONGEST[key]), value, autocomplete: "off" });
}

function choice(id, words) {
  return el("select", { id }, Object.entries(words).map(([key, text]) => el("option", { value: key }, text)));
}

function fields(list) {
  return el("div", { class: "fields" }, list.map(([key, node]) => el("label", { for: node.id }, t(`jobs.${key}`), node)));
}

function button(key, act) {
  return el("button", { class: "small", onclick: act }, t(`jobs.${key}`));
}
