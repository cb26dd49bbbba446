// The rehearsal of the running run, laid under its curve: what it should have been. Each stage of it
// begins where that stage really began, as a person takes the time that a person takes.

import { el, show } from "./dom.js";
import { t } from "./words.js";
import { get, post } from "./wire.js";
import { underlay } from "./curve.js";

const DASH = [7, 4];
const NO_STAGE = 255;

export class Prediction {
  // `changed` is called when there is something else to draw
  constructor(page, changed) {
    this.page = page;
    this.changed = changed;
    this.shown = true;
    this.button = el("button", { class: "small", hidden: true, "aria-pressed": "true", onclick: () => this.toggle() }, t("curve.predicted_button"));
    this.toml = null;
  }

  // The profile of this run is rehearsed beside it; a run that goes on keeps the rehearsal it has.
  async begin({ run_id: run }) {
    try {
      const { toml, profile } = await get(`/api/runs/${run}`);
      if (toml === this.toml) return;
      this.toml = toml;
      this.found = null;
      const found = await post("/api/rehearse", { text: toml, name: profile });
      if (toml === this.toml && !found.sentences) this.take(found);
    } catch {
      this.toml = null; // without it the curve is still the curve
    }
    show(this.button, Boolean(this.found));
  }

  take(found) {
    const heated = found.curve.map((row, n) => ({ s: row.seconds - found.press_s, c: row[`${found.control}_c`], stage: found.stage_of[n] }));
    this.found = heated.filter((point) => point.s >= 0);
    this.pinned = null;
    this.changed();
  }

  toggle() {
    this.shown = !this.shown;
    this.button.setAttribute("aria-pressed", String(this.shown));
    this.changed();
  }

  under(pins) {
    if (!this.found || !this.shown) return [];
    const stages = pins.filter((pin) => pin.kind === "stage" && pin.at_s !== null);
    if (this.pinned !== stages.length) {
      this.pinned = stages.length;
      const points = aligned(this.found, new Map(stages.map((pin) => [pin.stage, pin.at_s])));
      this.curve = underlay(t("curve.predicted"), points.map((one) => one.s), points.map((one) => one.c), DASH);
    }
    return [this.curve];
  }
}

// `begun`: stage -> the second in which it really began. What was predicted of a stage beyond the
// beginning of the next one is left out, so is what lies before the first stage of this run, and all
// that comes after a stage that was skipped: the rehearsal knows nothing of that.
export function aligned(predicted, begun) {
  const first = Math.min(...begun.keys());
  let last = first;
  while (begun.has(last + 1)) last += 1;
  const skipped = [...begun.keys()].some((stage) => stage > last);
  const starts = new Map();
  for (const { s, stage } of predicted) if (!starts.has(stage)) starts.set(stage, s);
  const next = (stage) => Math.min(Infinity, ...[...begun].filter(([other]) => other > stage).map(([, at]) => at));
  let shift = 0;
  let end = Infinity;
  let stageNow = null;
  const points = [];
  for (const { s, c, stage } of predicted) {
    if (stage === NO_STAGE && begun.size && stageNow === null) continue;
    if (stage !== stageNow && stage !== NO_STAGE) {
      stageNow = stage;
      if (begun.has(stage)) shift = begun.get(stage) - starts.get(stage);
      end = next(stage);
    }
    if (begun.size && (stage < first || (skipped && stage > last))) continue;
    if (s + shift < end) points.push({ s: s + shift, c });
  }
  return points;
}
