// The curve: temperatures with what is asked for and their limits, power in a strip of its own
// below, marks and stages on it, other runs faintly under it. Built on uPlot.

import { css, el, fill } from "./dom.js";
import { t } from "./words.js";

const TIMES_S = [10, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400];
const DASHES = [[], [10, 5], [2, 4], [12, 4, 2, 4], [6, 6], [1, 3], [14, 3], [4, 2]];
const POWER_HEIGHT = 98;
const AXIS_WIDTH = 64;
const ROOM_C = 12; // above the hottest that is drawn
const LEAST_SPAN_S = 300;
const RECENT_S = 600;

export class Curve {
  // `height` of the temperatures in px; `power` false leaves the strip out.
  constructor({ height = 380, power = true } = {}) {
    this.height = height;
    this.withPower = power;
    this.node = el("div", { class: "curve", role: "img" });
    this.extra = { limits: [], pins: [], under: [], ahead: [] };
    this.recent = false;
    this.names = [];
    this.data = [[], []];
    this.percent = [];
    this.watch = new ResizeObserver(() => this.resize());
    this.watch.observe(this.node);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.build());
  }

  // names: of the sensors, the controlling one first or not; data: [seconds, asked, ...sensors]
  begin(names) {
    this.names = names;
    this.room = 24 + 9 * Math.max(0, ...names.map((name) => name.length)); // for the names at the ends
    this.build();
  }

  set(data, percent = []) {
    this.data = data;
    this.percent = percent;
    if (!this.chart) return;
    this.chart.setData(data);
    this.strip?.setData([data[0], percent]);
  }

  build() {
    this.chart?.destroy();
    this.strip?.destroy();
    this.colours = ["--ink", "--series-2", "--series-3", "--series-4", "--you", "--moss"].map(css);
    const width = this.node.clientWidth || 800;
    fill(this.node, []);
    this.chart = new uPlot(this.options(width), this.data, this.node);
    if (this.withPower) this.strip = new uPlot(this.stripOptions(width), [this.data[0], this.percent], this.node);
  }

  resize() {
    const width = this.node.clientWidth;
    if (!width || !this.chart || width === this.chart.width) return;
    this.chart.setSize({ width, height: this.height });
    this.strip?.setSize({ width, height: POWER_HEIGHT });
  }

  options(width) {
    const lines = this.names.map((name, number) => ({
      label: name,
      stroke: this.colours[number % this.colours.length],
      width: number ? 2 : 3,
      dash: DASHES[number % DASHES.length],
      spanGaps: false,
      points: { show: false },
    }));
    const alone = this.names.length === 0;
    const asked = { label: t("curve.asked"), stroke: css(alone ? "--ink" : "--quiet"), width: alone ? 3 : 1.5,
      dash: alone ? [] : [4, 4], points: { show: false } };
    return {
      width,
      height: this.height,
      padding: [14, this.room, 0, 0],
      legend: { show: false },
      cursor: { sync: { key: "bench" }, drag: { x: false, y: false }, points: { show: false } },
      scales: { x: { time: false, range: (_u, _low, high) => this.span(high) }, y: { range: (_u, low, high) => this.levels(low, high) } },
      axes: [this.timeAxis(this.withPower), this.axis("°C")],
      series: [{}, asked, ...lines],
      hooks: { drawAxes: [(u) => this.below(u)], draw: [(u) => this.above(u)] },
    };
  }

  stripOptions(width) {
    const ember = css("--ember");
    return {
      width,
      height: POWER_HEIGHT,
      padding: [12, this.room, 0, 0],
      legend: { show: false },
      cursor: { sync: { key: "bench" }, drag: { x: false, y: false }, points: { show: false } },
      scales: { x: { time: false, range: (_u, _low, high) => this.span(high) }, y: { range: [0, 100] } },
      axes: [this.timeAxis(false), { ...this.axis("%"), splits: [0, 50, 100] }],
      series: [{}, { label: t("curve.power"), stroke: ember, fill: `${ember}40`, width: 1, points: { show: false } }],
    };
  }

  axis(unit) {
    return { stroke: css("--quiet"), size: AXIS_WIDTH, font: "15px system-ui, DejaVu Sans", gap: 6,
      grid: { stroke: css("--line"), width: 0.6 }, ticks: { show: false },
      values: (_u, splits) => splits.map((split) => `${split} ${unit}`) };
  }

  timeAxis(bare) {
    return { ...this.axis(""), size: bare ? 8 : 34, incrs: TIMES_S, space: 80,
      values: (_u, splits) => splits.map((s) => (bare ? "" : timeOf(s))) };
  }

  span(high) {
    const last = Math.max(high ?? 0, 0);
    const ahead = this.extra.ahead.length ? this.extra.ahead.at(-1)[0] : last;
    if (this.recent) return [Math.max(0, last - RECENT_S), Math.max(last, Math.min(ahead, last + 120), LEAST_SPAN_S)];
    const under = Math.max(0, ...this.extra.under.map((one) => one.x.at(-1) ?? 0));
    return [Math.min(0, this.data[0][0] ?? 0), Math.max(last + 20, ahead, under, LEAST_SPAN_S)];
  }

  levels(low, high) {
    const tops = [high ?? 50, ...this.extra.ahead.map((point) => point[1]), ...this.extra.under.map((one) => one.top)];
    const near = this.extra.limits.map((one) => one.c).filter((c) => c < Math.max(...tops) + 45);
    return [Math.max(0, Math.min(low ?? 20, 20) - 2), Math.max(...tops, ...near) + ROOM_C];
  }

  // Other runs and limits, under the lines.
  below(u) {
    const pen = u.ctx;
    pen.save();
    this.clip(u, pen);
    for (const one of this.extra.under) {
      this.line(u, one.x, one.y, css("--quiet"), 1.5, one.dash ?? [1, 3]);
      const at = one.y.length - 1;
      if (at > 0) this.text(u, one.label, one.x[Math.floor(at * 0.55)], one.y[Math.floor(at * 0.55)], css("--quiet"), 13, 0, -9);
    }
    for (const { c, label } of this.extra.limits) {
      this.line(u, [u.scales.x.min, u.scales.x.max], [c, c], css("--ember"), 1.5, [14, 4, 2, 4]);
      this.text(u, label, u.scales.x.min, c, css("--ember"), 13, 6, -8);
    }
    pen.restore();
  }

  // What is to come, marks, and the names at the ends of the lines.
  above(u) {
    const pen = u.ctx;
    pen.save();
    this.clip(u, pen);
    if (this.extra.ahead.length > 1) {
      const [x, y] = [0, 1].map((n) => this.extra.ahead.map((point) => point[n]));
      this.line(u, x, y, css("--quiet"), 2.5, [2, 6]);
    }
    for (const pin of this.extra.pins) this.pin(u, pin);
    pen.restore();
    pen.save(); // what is to the right of the lines is outside the clip
    this.ends(u);
    pen.restore();
  }

  pin(u, { at_s: at, kind, text }) {
    if (at === null || at < u.scales.x.min || at > u.scales.x.max) return;
    const colour = { mark: "--you", trip: "--ember", link: "--ember", stop: "--ember" }[kind] ?? "--line";
    const loud = colour !== "--line";
    this.line(u, [at, at], [u.scales.y.min, u.scales.y.max], css(colour), loud ? 2 : 1, kind === "stage" ? [] : [3, 3]);
    if (loud) this.text(u, kind === "mark" ? text : t(`curve.${kind}`), at, u.scales.y.max, css(colour), 14, 5, 16);
  }

  ends(u) {
    const last = u.data[0].length - 1;
    if (last < 0) return;
    const ratio = devicePixelRatio;
    const labels = this.names.map((name, number) => ({ name, number, y: u.data[number + 2]?.[last] }))
      .filter(({ y }) => y !== null && y !== undefined)
      .map((one) => ({ ...one, px: u.valToPos(one.y, "y", true) }))
      .sort((a, b) => a.px - b.px);
    let floor = -Infinity;
    for (const label of labels) {
      label.px = Math.max(label.px, floor + 16 * ratio);
      floor = label.px;
      const x = Math.min(u.valToPos(u.data[0][last], "x", true), u.bbox.left + u.bbox.width) + 6 * ratio;
      this.write(u, label.name, x, label.px + 5 * ratio, this.colours[label.number % this.colours.length], 14);
    }
  }

  line(u, xs, ys, colour, width, dash) {
    const pen = u.ctx;
    pen.beginPath();
    xs.forEach((x, n) => {
      if (ys[n] === null) return;
      pen.lineTo(u.valToPos(x, "x", true), u.valToPos(ys[n], "y", true));
    });
    pen.strokeStyle = colour;
    pen.lineWidth = width * devicePixelRatio;
    pen.setLineDash(dash.map((length) => length * devicePixelRatio));
    pen.stroke();
    pen.setLineDash([]);
  }

  text(u, text, x, y, colour, size, right = 0, down = 0) {
    const ratio = devicePixelRatio;
    this.write(u, text, u.valToPos(x, "x", true) + right * ratio, u.valToPos(y, "y", true) + down * ratio, colour, size);
  }

  write(u, text, x, y, colour, size) {
    u.ctx.fillStyle = colour;
    u.ctx.textAlign = "left";
    u.ctx.font = `600 ${size * devicePixelRatio}px system-ui, DejaVu Sans, sans-serif`;
    u.ctx.fillText(text, x, y);
  }

  clip(u, pen) {
    pen.beginPath();
    pen.rect(u.bbox.left, u.bbox.top, u.bbox.width, u.bbox.height);
    pen.clip();
  }
}

// Another curve to lay under the lines: y over x, null where there is none.
export function underlay(label, x, y, dash) {
  return { label, x, y, dash, top: y.reduce((most, c) => Math.max(most, c ?? 0), 0) };
}

// 75 -> "1:15", -75 -> "−1:15"
function timeOf(seconds) {
  const whole = Math.abs(seconds);
  return `${seconds < 0 ? "−" : ""}${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}
