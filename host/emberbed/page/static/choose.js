// Before a run: choose a profile, see its check and its rehearsal, confirm the board, load it.

import { clock, el, fill } from "./dom.js";
import { counted, t } from "./words.js";
import { get, post } from "./wire.js";
import { BeforeView } from "./before.js";
import { Curve } from "./curve.js";
import { LeftOpen } from "./left_open.js";

export class ChooseView {
  constructor(page) {
    this.page = page;
    this.list = el("ul", { class: "list", "aria-label": t("choose.title") });
    this.detail = el("div", { role: "region", "aria-live": "polite", "aria-label": t("choose.detail") });
    this.folder = el("p", { class: "quiet" });
    const shared = page.about.shared;
    this.shared = shared ? el("section", {}, el("h2", {}, t("shared.title")), el("p", { class: "big" }, t("shared.how", shared))) : null;
    this.leftOpen = new LeftOpen(page);
    this.choosing = el("div", {}, this.leftOpen.node, el("div", { class: "choose" },
      el("div", {}, el("h1", {}, t("choose.title")), this.list, this.folder, this.shared), this.detail));
    this.node = el("div", {}, this.choosing);
  }

  async enter(wanted) {
    fill(this.node, [this.choosing]);
    this.leftOpen.look();
    try {
      const { folder, profiles } = await get("/api/profiles");
      this.folder.textContent = t("choose.folder", { folder });
      this.buttons = profiles.map((one) => this.item(one));
      fill(this.list, this.buttons.map((button) => el("li", {}, button)));
      const first = wanted ?? this.chosen ?? profiles.find((one) => !one.mistakes) ?? profiles[0];
      if (first) await this.pick(first);
    } catch (failure) {
      this.page.tell(failure);
    }
  }

  item(one) {
    const about = one.mistakes
      ? counted("choose.mistakes", one.mistakes)
      : t("choose.about", { peak: one.peak_c, time: clock(one.heating_s), asks: counted("choose.asks", one.asks) });
    const button = el("button", { class: "pick", onclick: () => this.pick(one) },
      el("b", {}, one.title || one.name), el("small", {}, `${t(`choose.where.${one.where}`)} · ${about}`));
    button.dataset.key = `${one.where}/${one.name}`;
    return button;
  }

  async pick({ where, name }) {
    this.chosen = { where, name };
    for (const button of this.buttons ?? []) {
      button.setAttribute("aria-pressed", String(button.dataset.key === `${where}/${name}`));
    }
    fill(this.detail, [el("p", {}, t("choose.checking"))]);
    try {
      const profile = await get(`/api/profiles/${where}/${encodeURIComponent(name)}`);
      if (this.chosen.name === name && this.chosen.where === where) this.show(profile);
    } catch (failure) {
      fill(this.detail, failure.sentences.map((one) => el("p", { class: "big" }, one)));
    }
  }

  show(profile) {
    const { check } = profile;
    this.profile = profile;
    const curve = check.line ? new Curve({ height: 300, power: false }) : null;
    this.prediction = el("div");
    this.rehearse = el("button", { onclick: () => this.showRehearsal(profile, curve) }, t("choose.rehearse"));
    fill(this.detail, [
      el("h1", {}, check.name ?? profile.name),
      this.verdict(check),
      check.line ? this.figures(check) : null,
      el("div", { class: "row" },
        el("button", { class: "main", disabled: !check.may_run, onclick: () => this.confirm(profile) }, t("choose.prepare")),
        check.may_run ? this.rehearse : null,
        el("a", { class: "button", href: `#/edit/${profile.where}/${encodeURIComponent(profile.name)}` }, t("choose.edit"))),
      curve?.node, this.prediction, findings(check.findings),
    ]);
    if (curve) drawWanted(curve, check);
  }

  verdict(check) {
    const count = (severity) => check.findings.filter((one) => one.severity === severity).length;
    return el("p", { class: "big" }, check.may_run
      ? t(count("warning") ? "choose.may_run" : "choose.may_run_well", { warnings: counted("choose.warnings", count("warning")) })
      : t("choose.may_not_run", { errors: counted("choose.errors", count("error")) }));
  }

  figures(check) {
    const board = check.board;
    const size = board ? t("choose.board", board) : t("choose.no_board");
    const entries = [["peak", `${check.peak_c} °C`], ["time", clock(check.heating_s)], ["asks_you", String(check.asks.length)], ["board_is", size]];
    return el("dl", { class: "figures" }, entries.map(([key, text]) => el("div", {}, el("dt", {}, t(`choose.${key}`)), el("dd", {}, text))));
  }

  async showRehearsal(profile, curve) {
    this.rehearse.disabled = true;
    fill(this.prediction, [el("p", {}, t("choose.rehearsing"))]);
    try {
      const found = await post("/api/rehearse", { text: profile.text, name: profile.name });
      if (found.sentences) fill(this.prediction, findings(found.sentences.map((sentence) => ({ severity: "error", sentence }))));
      else this.showPrediction(found, curve);
    } catch (failure) {
      fill(this.prediction, []);
      this.page.tell(failure);
    }
    this.rehearse.disabled = false;
  }

  showPrediction(found, curve) {
    const names = Object.keys(found.peaks_c);
    const heated = found.curve.filter((row) => row.seconds >= found.press_s);
    const column = (key) => heated.map((row) => row[key]);
    const seconds = heated.map((row) => row.seconds - found.press_s);
    curve.extra.under = [];
    curve.begin(names);
    curve.set([seconds, column("setpoint_c"), ...names.map((name) => column(`${name}_c`))]);
    curve.node.setAttribute("aria-label", t("choose.rehearsed_curve", { seconds: clock(found.seconds) }));
    fill(this.prediction, [el("h2", {}, t("choose.rehearsed")),
      el("ul", { class: "sentences" }, found.said.map((line) => el("li", {}, line)))]);
  }

  async confirm(profile) {
    const view = new BeforeView(this.page, profile, () => this.enter(this.chosen));
    fill(this.node, [view.node]);
    await view.look();
  }
}

// `more(one)` gives what belongs below a finding, null for nothing.
export function findings(list, more = () => null) {
  return el("ul", { class: "sentences" }, list.map((one) =>
    el("li", { class: one.severity }, el("b", {}, t(`severity.${one.severity}`)), one.sentence, more(one))));
}

// What a profile asks for over its planned time; waits take no time there.
export function drawWanted(curve, check) {
  const [x, y] = [0, 1].map((n) => check.line.map((point) => point[n]));
  curve.begin([]);
  curve.extra.under = [];
  curve.set([x, y]);
  curve.node.setAttribute("aria-label", t("choose.wanted_curve", { peak: check.peak_c, time: clock(check.heating_s) }));
}
