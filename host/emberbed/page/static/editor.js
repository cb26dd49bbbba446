// The profile editor: stages as a table beside their curve, the whole text below. Every change is
// checked as typed, by the command line's own check; saving writes the TOML file.

import { clock, el, fill, say } from "./dom.js";
import { t } from "./words.js";
import { get, post } from "./wire.js";
import { Curve } from "./curve.js";
import { drawWanted, findings } from "./choose.js";

const TYPED_MS = 350;
const LONG = ["prompt", "marks", "needs"]; // texts and lists
const TABLES = ["board", "chip"];
const MOST_REASON = "200";

export class EditScreen {
  constructor(page) {
    this.page = page;
    this.node = el("div");
    this.list = el("ul", { class: "list" });
    this.all = el("div", {}, el("h1", {}, t("edit.choose")), el("p", {}, t("edit.choose_how")), this.list);
  }

  async enter(where, name) {
    if (where && name && this.key === `${where}/${name}`) return; // what is being written stays
    this.key = where && name ? `${where}/${name}` : null;
    try {
      if (this.key) await this.open(where, name);
      else await this.showAll();
    } catch (failure) {
      fill(this.node, failure.sentences.map((one) => el("p", { class: "big" }, one)));
    }
  }

  async showAll() {
    const { profiles } = await get("/api/profiles");
    fill(this.list, profiles.map((one) => el("li", {}, el("a", { href: `#/edit/${one.where}/${encodeURIComponent(one.name)}` },
      el("b", {}, one.title || one.name), el("small", {}, `${one.name} · ${t(`choose.where.${one.where}`)}`)))));
    fill(this.node, [this.all]);
  }

  async open(where, name) {
    const profile = await get(`/api/profiles/${where}/${encodeURIComponent(name)}`);
    this.own = where === "own";
    this.mark = this.own ? profile.mark : "";
    this.curve = new Curve({ height: 300, power: false });
    this.build(this.own ? name : `${name}-2`.slice(0, 48));
    this.take(await post("/api/check", { text: profile.text, name }));
    this.saved = this.own ? this.text : null;
    this.note();
  }

  build(name) {
    this.file = el("input", { id: "file", value: name, maxlength: "48", pattern: "[A-Za-z0-9_-]+", spellcheck: "false" });
    this.save = el("button", { class: "main", onclick: () => this.write() }, t("edit.save"));
    this.state = el("span", { role: "status" });
    for (const part of ["head", ...TABLES, "sensors"]) this[part] = el("div", { class: "fields" });
    this.rows = el("tbody");
    this.said = el("div", { "aria-live": "polite" });
    this.area = el("textarea", { id: "toml", rows: "24", spellcheck: "false", oninput: () => this.typed() });
    this.area.style.width = "100%";
    this.kind = el("select", { "aria-label": t("edit.new_kind") });
    const heads = ["stage", "values", "planned", "order"].map((key) => el("th", { scope: "col" }, t(`edit.${key}`)));
    fill(this.node, [
      el("h1", {}, t("edit.title")),
      el("div", { class: "row" }, el("label", { for: "file" }, t("edit.file")), this.file, this.save,
        el("a", { class: "button", href: "#/edit" }, t("edit.others")), this.state),
      el("div", { class: "edit" },
        el("div", {}, el("h2", {}, t("edit.stages")),
          el("div", { class: "wide", tabindex: "0", role: "region", "aria-label": t("edit.stages") }, el("table", {}, el("thead", {}, el("tr", {}, heads)), this.rows)),
          el("div", { class: "row" }, this.kind, el("button", { onclick: () => this.add() }, t("edit.add"))),
          el("h2", {}, t("edit.board")), this.head, this.board, el("h2", {}, t("edit.chip")), this.chip,
          el("h2", {}, t("edit.sensors")), this.sensors),
        el("div", { class: "aside" }, this.curve.node, this.said)),
      el("h2", {}, el("label", { for: "toml" }, t("edit.text"))), this.area,
    ]);
  }

  // The answer to a change: text, form and check. What has the focus keeps it.
  take({ text, form, check, sentences }) {
    this.text = text;
    this.check = check;
    if (this.area.value !== text && document.activeElement !== this.area) this.area.value = text;
    if (form) this.form(form, check);
    if (check.line) drawWanted(this.curve, check);
    const told = (sentences ?? []).map((sentence) => ({ severity: "error", sentence }));
    fill(this.said, [el("h2", {}, t(check.may_run ? "edit.may_run" : "edit.may_not_run")), findings([...told, ...check.findings], (found) => this.accepting(found))]);
    this.note();
  }

  form(form, check) {
    this.shape = form;
    const focus = document.activeElement?.id;
    const errors = check.findings.filter((one) => one.severity === "error");
    const wrongIn = (number) => errors.filter((one) => stageOf(one) === number).map((one) => one.sentence).join(" ");
    fill(this.head, Object.entries(form.head).map(([key, value]) => this.field([key], value, form.choices[key])));
    for (const table of TABLES) fill(this[table], Object.entries(form[table]).map(([key, value]) => this.field([table, key], value)));
    fill(this.sensors, Object.entries(form.sensors).flatMap(([name, values]) => Object.entries(values).map(([key, value]) =>
      this.field(["sensors", name, key], value, form.choices[key], t(`edit.sensor_${key}`, { name })))));
    fill(this.rows, form.stages.map((stage, number) => this.row(stage, number, check.stages?.[number], wrongIn(number + 1))));
    fill(this.kind, form.kinds.map((kind) => el("option", { value: kind }, t(`kinds.${kind}`))));
    this.kind.value = "hold";
    if (focus) document.getElementById(focus)?.focus();
  }

  // `wrong` holds the errors of this stage, '' for none; a field that one names is marked.
  row(stage, number, planned, wrong) {
    const last = this.shape.stages.length - 1;
    const tool = (key, disabled, change) => el("button", { class: "small", disabled, onclick: () => this.change(change),
      "aria-label": t(`edit.${key}_stage`, { number: number + 1 }) }, t(`edit.${key}`));
    const more = stage.more.length ? el("select", { "aria-label": t("edit.more"), onchange: (event) => this.more(number, event.target.value) },
      el("option", { value: "" }, t("edit.more")), stage.more.map((key) => el("option", { value: key }, label(key)))) : null;
    return el("tr", { class: wrong ? "wrong" : null },
      el("td", {}, el("b", {}, `${number + 1} `), t(`kinds.${stage.kind}`)),
      el("td", {}, el("div", { class: "fields" }, Object.entries(stage.values).map(([key, value]) =>
        this.field(["stages", number, key], value, this.shape.choices[key] && key !== "marks" ? this.shape.choices[key] : null, label(key), new RegExp(`\\b${key}\\b`).test(wrong))), more)),
      el("td", { class: "number" }, planned?.planned_s ? clock(planned.planned_s) : "–"),
      el("td", { class: "tools-3" }, tool("up", number === 0, { do: "move", at: number, to: number - 1 }), " ",
        tool("down", number === last, { do: "move", at: number, to: number + 1 }), " ",
        tool("remove", last === 0, { do: "remove", at: number })));
  }

  field(place, value, choices = null, name = label(place.at(-1)), wrong = false) {
    const id = `at-${place.join("-")}`;
    const invalid = wrong ? "true" : null;
    const change = (event) => this.later(event.target, place);
    const box = choices
      ? el("select", { id, "aria-invalid": invalid, onchange: change }, [...new Set([value, "", ...choices])].map((one) => el("option", { value: one }, one || "–")))
      : el("input", { id, class: LONG.includes(place.at(-1)) ? "long" : null, "aria-invalid": invalid, value, autocomplete: "off", oninput: change });
    box.value = value;
    if (this.waiting?.box.id === id) { // typed since this form was asked for
      box.value = this.waiting.box.value;
      this.waiting.box = box;
    }
    return el("label", {}, el("small", {}, name), box);
  }

  // A warning can be accepted with a reason; it stands in the text then, until anything else changes.
  accepting(found) {
    if (found.severity !== "warning" || !found.name) return null;
    const reason = el("input", { maxlength: MOST_REASON, "aria-label": t("edit.reason_for", { what: found.name }) });
    const accept = () => this.change({ do: "accept", name: found.name, reason: reason.value });
    return el("details", { class: "accept" }, el("summary", {}, t("edit.accept")),
      el("p", { class: "quiet" }, t("edit.accept_how")),
      el("label", {}, el("small", {}, t("edit.reason")), reason),
      el("button", { class: "small", onclick: accept }, t("edit.accept_do")));
  }

  // What is typed waits a moment; another field does not take it away, it sends it at once.
  later(box, place) {
    if (this.waiting && this.waiting.box.id !== box.id) this.send();
    this.waiting = { box, place };
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.send(), TYPED_MS);
  }

  send() {
    clearTimeout(this.timer);
    const { box, place } = this.waiting;
    this.waiting = null;
    this.change({ do: "set", place, value: box.value });
  }

  typed() {
    this.waiting = null; // the text is the truth
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.ask("/api/check", {}, this.area.value), TYPED_MS);
  }

  more(number, key) {
    if (!key) return;
    this.shape.stages[number].values[key] = "";
    this.shape.stages[number].more = this.shape.stages[number].more.filter((one) => one !== key);
    this.form(this.shape, this.check);
    document.getElementById(`at-stages-${number}-${key}`)?.focus();
  }

  add() {
    const stages = this.shape.stages;
    const at = stages.at(-1)?.kind === "cool" && this.kind.value !== "cool" ? stages.length - 1 : stages.length;
    this.change({ do: "add", at, kind: this.kind.value });
  }

  // One after the other: each change is made in the text that the one before has left.
  change(change) {
    this.changes = (this.changes ?? Promise.resolve()).then(() => this.ask("/api/edit", { change }, this.text));
    return this.changes;
  }

  // Only the newest answer counts: a slow one to an older text is dropped.
  async ask(path, body, text) {
    const turn = (this.turn = (this.turn ?? 0) + 1);
    const answer = await this.page.do(path, { text, name: this.file.value || "profile", ...body });
    if (answer && turn === this.turn) this.take(answer);
  }

  note() {
    say(this.state, t(this.text === this.saved ? "edit.is_saved" : "edit.not_saved"));
  }

  async write() {
    const name = this.file.value.trim();
    const same = this.own && this.key === `own/${name}`;
    const saved = await this.page.do("/api/save", { name, text: this.text, mark: same ? this.mark : "" });
    if (!saved) return;
    [this.own, this.mark, this.saved, this.key] = [true, saved.mark, this.text, `own/${saved.name}`];
    history.replaceState(null, "", `/#/edit/own/${saved.name}`);
    this.note();
  }
}

function stageOf({ stage, sentence }) {
  return stage ?? Number(/stage (\d+)/.exec(sentence)?.[1] ?? 0);
}

function label(key) {
  const text = t(`keys.${key}`);
  return text.startsWith("keys.") ? key : text;
}
