// The recorded runs: search, open, compare under each other, export.

import { clock, el, fill, say } from "./dom.js";
import { counted, t } from "./words.js";
import { get } from "./wire.js";
import { headline } from "./verdict.js";
import { Curve } from "./curve.js";
import { RunsJob } from "./job.js";
import { sheetOf } from "./papers.js";

const MOST_COMPARED = 6;

export class RunsScreen {
  constructor(page) {
    this.page = page;
    this.picked = new Set();
    this.find = el("input", { type: "search", id: "find", oninput: () => this.filter() });
    this.count = el("span", { class: "quiet", role: "status" });
    this.rows = el("tbody");
    this.compared = el("div");
    this.align = el("select", { id: "align", onchange: () => this.compare() });
    const heads = ["compare", "run", "started", "profile", "ended", "limits", "time"];
    this.all = el("div", {},
      el("h1", {}, t("runs.title")),
      el("div", { class: "row" }, el("label", { for: "find" }, t("runs.find")), this.find, this.count),
      this.compared,
      el("div", { class: "wide", tabindex: "0", role: "region", "aria-label": t("runs.title") },
        el("table", {}, el("thead", {}, el("tr", {}, heads.map((head) => el("th", { scope: "col" }, t(`runs.${head}`))))), this.rows)));
    this.node = el("div");
  }

  async enter(run) {
    try {
      if (run) await this.open(run);
      else await this.showAll();
    } catch (failure) {
      fill(this.node, [el("h1", {}, t("runs.title")), failure.sentences.map((one) => el("p", { class: "big" }, one))]);
    }
  }

  async showAll() {
    this.runs = await get("/api/runs");
    fill(this.node, [this.all]);
    this.filter();
    await this.compare();
  }

  filter() {
    const words = this.find.value.toLowerCase().split(/\s+/);
    const text = (run) => `${run.id} ${run.profile} ${run.started} ${run.ended_as}`.toLowerCase();
    const found = this.runs.filter((run) => words.every((word) => text(run).includes(word)));
    say(this.count, counted("runs.found", found.length));
    fill(this.rows, found.map((run) => this.row(run)));
  }

  row(run) {
    const box = el("input", { type: "checkbox", class: "box", checked: this.picked.has(run.id),
      "aria-label": t("runs.compare_run", { run: run.id }), onchange: () => this.pick(run.id, box) });
    const limits = run.limits_exceeded === null ? "–" : String(run.limits_exceeded);
    return el("tr", { class: this.picked.has(run.id) ? "picked" : null },
      el("td", {}, el("label", { class: "pickbox" }, box)),
      el("td", {}, el("a", { href: `#/runs/${run.id}` }, String(run.id))),
      el("td", {}, run.started), el("td", {}, run.profile, run.simulated ? ` (${t("simulated.short")})` : ""),
      el("td", {}, run.ended_as), el("td", { class: "number" }, limits), el("td", { class: "number" }, clock(run.seconds)));
  }

  async pick(id, box) {
    if (box.checked) this.picked.add(id);
    else this.picked.delete(id);
    if (this.picked.size > MOST_COMPARED) {
      this.picked.delete(id);
      box.checked = false;
    }
    this.filter();
    await this.compare();
  }

  // The controlling sensors of the picked runs over each other, from the press on.
  async compare() {
    if (this.picked.size === 0) return fill(this.compared, []);
    this.curve ??= new Curve({ height: 340, power: false });
    const others = await Promise.all([...this.picked].map((id) => get(`/api/runs/${id}/curve`)));
    this.offerStages(others);
    const at = this.align.value;
    const shown = others.map((one) => [one.columns[0].map((s) => s - (at ? one.begins_s[at] : 0)), one.columns[2 + one.control]]);
    fill(this.compared, [el("h2", {}, t("runs.compared")),
      el("div", { class: "row" }, el("label", { for: "align" }, t("runs.align")), this.align), this.curve.node]);
    const [x, columns] = aligned(shown);
    this.curve.begin(others.map((one) => t("curve.short_run", { run: one.run_id })));
    this.curve.set([x, x.map(() => null), ...columns]);
    this.curve.node.setAttribute("aria-label", t("runs.compared_curve", { runs: [...this.picked].join(", ") }));
  }

  // What all of them have: the press, and the stages that each of them reached.
  offerStages(others) {
    const before = this.align.value;
    const common = Object.keys(others[0].begins_s).filter((stage) => others.every((one) => stage in one.begins_s));
    fill(this.align, [el("option", { value: "" }, t("runs.at_press")),
      ...common.map((stage) => el("option", { value: stage }, t("runs.at_stage", { stage: Number(stage) + 1 })))]);
    this.align.value = common.includes(before) ? before : "";
  }

  async open(id) {
    const run = await get(`/api/runs/${encodeURIComponent(id)}`);
    const shape = await get(`/api/runs/${run.id}/curve`).catch(() => null);
    const curve = new Curve({ height: 360, power: false });
    const job = new RunsJob(this.page, run.id);
    job.look();
    fill(this.node, [
      el("h1", {}, t("runs.one", { run: run.id, profile: run.profile })),
      el("p", { class: "big" }, headline({ ended_as: run.state, limits_exceeded: run.limits_exceeded })),
      run.ending.map((line) => el("p", {}, line)),
      el("p", { class: "quiet" }, t("runs.about", run)),
      el("div", { class: "row" },
        el("a", { class: "button", href: `/runs/${run.id}/report`, target: "_blank", rel: "noopener" }, t("runs.report")),
        el("a", { class: "button", href: `/runs/${run.id}/pdf`, download: "" }, t("runs.pdf")),
        el("a", { class: "button", href: `/runs/${run.id}/png`, download: "" }, t("runs.png")),
        el("a", { class: "button", href: `/runs/${run.id}/csv`, download: "" }, t("runs.csv")),
        el("a", { class: "button", href: `/runs/${run.id}/json`, download: "" }, t("runs.json")),
        el("a", { class: "button", href: `/runs/${run.id}/bundle`, download: "" }, t("runs.bundle")),
        el("a", { class: "button", href: "#/runs" }, t("runs.back"))),
      shape && shape.columns[0].length ? curve.node : el("p", {}, t("runs.no_curve")),
      job.node,
      sheetOf(run.id),
      el("h2", {}, t("runs.notes")),
      el("ul", { class: "sentences" }, run.notes.map((note) => el("li", {}, el("b", {}, note.at), note.sentence))),
      el("div", { class: "row" }, this.noteBox(run.id)),
      el("h2", {}, t("log.title")),
      el("ol", { class: "log", tabindex: "0", "aria-label": t("log.title") }, run.events.map((event) => el("li", {},
        el("span", { class: "quiet" }, event.at_s === null ? "–" : clock(event.at_s)), el("span", {}, event.sentence)))),
      el("details", {}, el("summary", {}, t("runs.toml")), el("pre", { tabindex: "0" }, run.toml)),
      el("p", { class: "quiet" }, t("runs.fingerprints", run)),
    ]);
    if (!shape || !shape.columns[0].length) return;
    curve.begin(shape.names);
    curve.set(shape.columns);
    curve.node.setAttribute("aria-label", t("runs.curve", { run: run.id }));
  }

  noteBox(id) {
    const box = el("input", { id: "note", "aria-label": t("runs.note") });
    const add = async () => {
      if (await this.page.do(`/api/runs/${id}/note`, { note: box.value })) await this.open(id);
    };
    return [box, el("button", { class: "small", onclick: add }, t("runs.add_note"))];
  }
}

// Several curves on one time axis: [seconds, values] pairs to a shared axis and a column each.
function aligned(pairs) {
  const x = [...new Set(pairs.flatMap(([seconds]) => seconds))].sort((a, b) => a - b);
  const columns = pairs.map(([seconds, values]) => {
    const at = new Map(seconds.map((s, n) => [s, values[n]]));
    return x.map((s) => at.get(s) ?? null);
  });
  return [x, columns];
}
