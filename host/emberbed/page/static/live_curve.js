// The rows of the running run, kept whole and in step with the server's, and their drawing.

import { el, show } from "./dom.js";
import { t } from "./words.js";
import { block, get } from "./wire.js";
import { Curve, underlay } from "./curve.js";
import { Prediction } from "./prediction.js";

const REDRAW_MS = 250;
const SPOKEN_MS = 10000;

export class LiveCurve {
  constructor(page) {
    this.page = page;
    this.curve = new Curve();
    this.run = null;
    this.width = 0;
    this.count = 0;
    this.fetching = false;
    this.waiting = [];
    this.drawn = 0;
    this.laid = [];
    this.zoom = el("button", { class: "small", "aria-pressed": "false", onclick: () => this.toggleZoom() }, t("curve.recent"));
    this.under = el("select", { "aria-label": t("curve.under"), onchange: () => this.lay(this.under.value) });
    this.clear = el("button", { class: "small", hidden: true, onclick: () => this.lay("") }, t("curve.clear"));
    this.prediction = new Prediction(page, () => this.draw(page.moment, performance.now()));
    this.head = el("div", { class: "curve-head" }, el("h2", {}, t("curve.title")), this.zoom, this.prediction.button,
      page.about.guest ? null : this.under, this.clear);
    this.node = el("section", { "aria-label": t("curve.title") }, this.head, this.curve.node);
  }

  update(moment) {
    const { about, columns } = moment;
    if (!columns?.length) return;
    if (about.run_id !== this.run || columns.length !== this.width) this.begin(about, columns);
    this.take(moment);
    const now = performance.now();
    if (now - this.drawn >= REDRAW_MS) this.draw(moment, now);
  }

  begin(about, columns) {
    this.run = about.run_id;
    this.width = columns.length;
    this.count = 0;
    this.waiting = [];
    this.columns = columns.map(() => []);
    const names = columns.slice(3);
    this.limits = this.limitLines(names, about.limits_c ?? []);
    this.curve.begin(names);
    this.laid = []; // earlier runs
    show(this.clear, false);
    if (this.page.about.guest) return;
    this.prediction.begin(about);
    this.listUnderlays(about);
  }

  // One line for sensors that share a limit.
  limitLines(names, limits) {
    const at = new Map();
    limits.forEach((c, n) => at.set(c, [...(at.get(c) ?? []), names[n]]));
    return [...at].map(([c, whose]) => ({ c, label: t("curve.limit", { c, whose: whose.join(", ") }) }));
  }

  take(moment) {
    this.waiting.push([moment.rows_from, moment.rows_new ?? []]);
    if (this.fetching) return;
    for (const [from, rows] of this.waiting.splice(0)) {
      if (from > this.count) return this.fetchMissing();
      for (const row of rows.slice(this.count - from)) this.add(row);
    }
    if (this.count < moment.rows && !(moment.rows_new ?? []).length) this.fetchMissing();
  }

  async fetchMissing() {
    this.fetching = true;
    const run = this.run;
    try {
      const numbers = await block(`/api/live/curve?from=${this.count}`);
      if (run === this.run) {
        for (let at = 0; at + this.width <= numbers.length; at += this.width) {
          this.add(Array.from(numbers.subarray(at, at + this.width), (one) => (Number.isNaN(one) ? null : one)));
        }
      }
    } catch {
      // the next message tries again
    }
    this.fetching = false;
    this.draw(this.page.moment, performance.now());
  }

  add(row) {
    row.forEach((number, column) => this.columns[column].push(number));
    this.count += 1;
  }

  draw(moment, now) {
    if (!this.columns) return;
    performance.mark("curve-begins");
    this.drawn = now;
    const [seconds, asked, percent, ...sensors] = this.columns;
    const last = seconds.at(-1) ?? 0;
    const { extra } = this.curve;
    extra.limits = this.limits;
    extra.pins = moment.pins ?? [];
    extra.under = [...this.prediction.under(extra.pins), ...this.laid];
    extra.ahead = (moment.facts?.next.line ?? []).map(([s, c]) => [last + s, c]);
    this.curve.set([seconds, asked, ...sensors], percent);
    // uPlot draws in a microtask: this one comes after it
    queueMicrotask(() => performance.measure("curve-frame", "curve-begins"));
    if (now - (this.spoken ?? -SPOKEN_MS) >= SPOKEN_MS) this.speak(moment, now);
  }

  speak(moment, now) {
    this.spoken = now;
    const sensors = (moment.facts?.now.sensors ?? []).map((one) => `${one.name} ${one.c ?? "–"} °C`);
    this.curve.node.setAttribute("aria-label", t("curve.spoken", { sensors: sensors.join(", ") || "–" }));
  }

  toggleZoom() {
    this.curve.recent = !this.curve.recent;
    this.zoom.setAttribute("aria-pressed", String(this.curve.recent));
    this.draw(this.page.moment, performance.now());
  }

  // Earlier runs, of the same profile first, that can be laid under this one.
  async listUnderlays(about) {
    const runs = await get("/api/runs").catch(() => []);
    const others = runs.filter((run) => run.id !== about.run_id && run.seconds > 60);
    others.sort((a, b) => (b.profile === about.profile) - (a.profile === about.profile));
    const options = others.slice(0, 40).map((run) =>
      el("option", { value: String(run.id) }, t("curve.run", { run: run.id, started: run.started, profile: run.profile })));
    this.under.replaceChildren(el("option", { value: "" }, t("curve.under")), ...options);
    show(this.under, options.length > 0);
  }

  async lay(run) {
    if (!run) this.laid = [];
    else await this.addUnderlay(run);
    this.under.value = "";
    show(this.clear, this.laid.length > 0);
    this.draw(this.page.moment, performance.now());
  }

  async addUnderlay(run) {
    try {
      const other = await get(`/api/runs/${run}/curve`);
      const label = t("curve.short_run", { run });
      this.laid = [...this.laid.filter((one) => one.label !== label),
        underlay(label, other.columns[0], other.columns[2 + other.control])];
    } catch (failure) {
      this.page.tell(failure);
    }
  }
}
