// A run on the bench, arranged around three questions: Now, Next, May I touch it.

import { clock, degrees, el, fill, inFahrenheit, reading, say, show } from "./dom.js";
import { t } from "./words.js";
import { headline } from "./verdict.js";
import { LiveCurve } from "./live_curve.js";
import { Placement } from "./placement.js";

const COIL_PARTS = 10;
const LOUD = ["trip", "prompt", "press", "stop", "left", "link", "refused", "gap", "refusal", "unproven"];
const NOT_KNOWN = ["link_lost", "interrupted", "elsewhere"]; // ends after which nobody measures any more

export class LiveView {
  constructor(page) {
    this.page = page;
    this.trip = el("section", { class: "trip", role: "region", "aria-label": t("trip.title"), hidden: true });
    this.verdict = el("section", { class: "verdict", hidden: true });
    this.curve = new LiveCurve(page);
    this.sound = el("button", { class: "small end", onclick: () => this.toggleSound() });
    this.curve.head.append(this.sound);
    this.log = el("ol", { class: "log", reversed: true, tabindex: "0", "aria-label": t("log.title") });
    this.about = el("p", { class: "quiet" });
    this.sensorsLay = el("div"); // after the run: their photograph for the next board
    this.title = el("h1", { class: "unseen" }, t("live_title"));
    this.node = el("div", { class: "run" }, this.title, this.trip, this.verdict,
      el("div", { class: "questions" }, this.now(), this.next(), this.touch()),
      el("div", {}, this.curve.node, el("h2", {}, t("log.title")), this.log, this.sensorsLay, this.about));
    this.nameSound();
  }

  now() {
    this.number = el("b");
    this.degrees = el("p", { class: "degrees" }, this.number, el("span", {}, "°C"));
    this.which = el("p", { class: "quiet" });
    this.old = el("p", { class: "stale-note", hidden: true });
    this.doing = el("p", { class: "big" });
    this.asked = el("p", { class: "quiet" });
    this.coil = el("div", { class: "coil", role: "meter", "aria-valuemin": "0", "aria-valuemax": "100", "aria-label": t("heater.power") },
      Array.from({ length: COIL_PARTS }, () => el("i")));
    this.why = el("span");
    this.heater = el("div", { class: "heater" }, this.coil, this.why);
    this.sensors = el("ul", { class: "sensors" });
    this.nowNode = el("section", { class: "band" }, el("h2", {}, t("now.title")),
      el("div", {}, el("div", { class: "now" },
        el("div", {}, this.degrees, this.which, this.old),
        el("div", {}, this.doing, this.asked, this.heater)), this.sensors));
    return this.nowNode;
  }

  next() {
    this.callText = el("p", { class: "big" });
    this.callMore = el("p");
    this.call = el("div", { class: "asks", hidden: true }, this.callText, this.callMore);
    this.steps = el("ol", { class: "steps" });
    this.nextText = el("p", { class: "big" });
    return el("section", { class: "band" }, el("h2", {}, t("next.title")),
      el("div", {}, this.call, this.nextText, this.steps));
  }

  touch() {
    this.touchText = el("p", { class: "big" });
    this.heat = el("span", { class: "heat", hidden: true });
    this.may = el("div", { class: "may" }, el("div", { class: "square", "aria-hidden": "true" }), this.touchText, this.heat);
    return el("section", { class: "band" }, el("h2", {}, t("touch.title")), this.may);
  }

  update(moment) {
    const facts = moment.facts;
    const unknown = moment.lost > 0 || (moment.desk.state !== "on" && this.endsUnknown(moment));
    this.showVerdict(moment);
    if (facts) {
      this.showNow(facts.now, unknown || this.page.old);
      this.showNext(facts, moment);
      this.showTouch(facts.touch, unknown, moment);
      this.showTrip(moment.desk.state === "on" ? facts.trip : null);
    }
    this.curve.update(moment);
    this.showLog(moment.events);
    this.showAbout(moment.about);
  }

  endsUnknown({ desk }) {
    return desk.state === "failed" || NOT_KNOWN.includes(desk.ended_as);
  }

  showNow(now, old) {
    const read = now.sensors.filter((one) => one.c !== null);
    const hottest = read.reduce((most, one) => (!most || one.c > most.c ? one : most), null);
    say(this.number, hottest ? hottest.c.toFixed(1) : "–");
    const which = hottest ? this.whichText(hottest, now.sensors.length) : t("now.none");
    say(this.which, [inFahrenheit(hottest?.c), which].filter(Boolean).join(" · "));
    this.nowNode.classList.toggle("stale", Boolean(old));
    show(this.old, Boolean(old));
    if (old) say(this.old, this.page.old ? t("now.old", { seconds: Math.round(this.page.old) }) : t("now.last"));
    say(this.doing, capital(now.doing.replace(/ {3}/, ", ")));
    const waits = !now.waiting ? "" : t("now.waits", { what: now.waiting });
    const asked = now.asked_c === null ? "" : t("now.asked", { c: degrees(now.asked_c), offset: this.offset(now.offset_c) });
    say(this.asked, [asked, waits].filter(Boolean).join(" · "));
    this.showHeater(now);
    this.showSensors([...now.sensors, ...now.heater_sensors], hottest);
  }

  whichText(hottest, count) {
    return count === 1 ? hottest.name : t("now.hottest", { name: hottest.name, count });
  }

  offset(c) {
    return c ? ` (${c > 0 ? "+" : "−"}${Math.abs(c)} °C)` : "";
  }

  showHeater({ heater, percent, energy_wh: energy, fan }) {
    const parts = Math.round((percent / 100) * COIL_PARTS);
    [...this.coil.children].forEach((part, n) => part.classList.toggle("on", n < parts || (n === 0 && percent > 0)));
    this.coil.setAttribute("aria-valuenow", String(percent));
    this.heater.classList.toggle("wrong", heater.does === "wrong");
    const does = t(`heater.${heater.does}`, { percent });
    const more = [energy ? t("heater.energy", { energy: energy.toFixed(0) }) : "", fan ? t("heater.fan") : ""];
    say(this.why, [heater.why ? `${does}: ${heater.why}` : does, ...more].filter(Boolean).join(" · "));
  }

  showSensors(sensors, hottest) {
    const shown = JSON.stringify(sensors.map((one) => [one.name, one.fault, one.role, one.limit_c]));
    if (shown !== this.sensorsShown) {
      this.sensorsShown = shown;
      this.readings = sensors.map(() => el("b"));
      fill(this.sensors, sensors.map((one, n) => el("li", { class: one.fault ? "bad" : null }, `${one.name} `, this.readings[n],
        one.fault ? ` ${one.fault}` : ` · ${this.roleText(one)}`)));
    }
    sensors.forEach((one, n) => say(this.readings[n], reading(one.c)));
    show(this.sensors, sensors.length > 1 || Boolean(hottest === null));
  }

  roleText({ role, controls, limit_c: limit }) {
    return t(controls ? "now.controls" : "now.role", { role, limit });
  }

  showNext(facts, moment) {
    const { ask, press, next } = facts;
    const urgent = next.call?.urgent;
    const over = moment.desk.state !== "on";
    show(this.call, !over && Boolean(ask || press || next.call));
    this.call.className = urgent ? "asks urgent" : ask || press ? "asks" : "asks soon";
    if (urgent) this.sayCall(next.call.text, t("next.urgent"));
    else if (ask) this.sayCall(ask.text, t(ask.needs_press ? "next.then_press" : "next.board", { board: ask.board }));
    else if (press) this.sayCall(press.text, capital(press.most));
    else if (next.call) this.sayCall(next.call.text, "");
    const steps = over ? [] : next.steps;
    show(this.nextText, steps.length === 0 && !(ask && !over));
    say(this.nextText, over ? t("next.over") : capital(next.text));
    const before = facts.stage === 255;
    const shown = JSON.stringify(steps.map((one) => [one.text, one.in_s === null ? null : Math.round(one.in_s), before]));
    if (shown === this.stepsShown) return;
    this.stepsShown = shown;
    fill(this.steps, steps.map((one) => el("li", {}, el("time", {}, this.when(one, before)), el("span", { class: one.asks ? "you" : null }, one.text))));
  }

  sayCall(text, more) {
    say(this.callText, text);
    say(this.callMore, more);
  }

  when({ in_s: seconds }, before) {
    if (seconds === null) return t("next.then");
    if (before) return seconds ? t("next.after_press_in", { time: clock(seconds) }) : t("next.after_press");
    return seconds ? t("next.in", { time: clock(seconds) }) : t("next.soon");
  }

  showTouch(touch, unknown, moment) {
    this.may.className = `may ${unknown ? "leave" : touch.level}`;
    const gone = moment.lost > 0 ? "touch.server_gone" : "touch.unknown";
    say(this.touchText, unknown ? t(gone) : capital(touch.board));
    show(this.heat, Boolean(touch.heater) && !unknown);
    say(this.heat, capital(touch.heater));
  }

  showTrip(trip) {
    const shown = trip ? JSON.stringify(trip) : "";
    show(this.trip, Boolean(trip));
    if (shown === this.tripShown) return;
    this.tripShown = shown;
    if (!trip) return;
    fill(this.trip, [el("div", {}, el("h2", {}, t("trip.heat_off", { title: trip.title })), el("p", {}, trip.happened),
      el("p", {}, el("b", {}, `${t("trip.do")} `), [trip.mend, trip.clears].filter(Boolean).join(" "))),
      el("a", { class: "button", href: trip.page, target: "_blank", rel: "noopener" }, t("trip.more"))]);
  }

  showVerdict({ desk }) {
    const done = desk.state === "over" || desk.state === "failed";
    show(this.verdict, done);
    const shown = JSON.stringify(desk);
    if (!done || shown === this.verdictShown) return;
    this.verdictShown = shown;
    this.showPlacement(desk);
    fill(this.verdict, [el("h2", { class: "big" }, headline(desk)), desk.sentences.map((one) => el("p", {}, one)),
      el("div", { class: "row" },
        this.page.about.guest || this.page.about.fixed ? null : el("button", { class: "main", onclick: () => this.page.do("/api/clear") }, t("verdict.next")),
        this.page.about.guest || !desk.run_id ? null : el("a", { class: "button", href: `/runs/${desk.run_id}/report`, target: "_blank", rel: "noopener" }, t("verdict.report")))]);
  }

  showPlacement({ run_id: run }) {
    const board = this.page.moment.about?.board ?? this.page.moment.about?.profile;
    if (this.page.about.guest || !run || !board) return;
    let note = "";
    const placement = new Placement(this.page, board, () => note, run);
    placement.look().then((before) => (note = before?.note ?? ""));
    fill(this.sensorsLay, [placement.node]);
  }

  showLog(events) {
    if (events === this.eventsShown) return;
    this.eventsShown = events;
    fill(this.log, [...events].reverse().map(({ clock: at, kind, sentence }) =>
      el("li", { class: LOUD.includes(kind) ? "loud" : null }, el("span", { class: "quiet" }, at), el("span", {}, sentence))));
  }

  showAbout(about) {
    if (!about?.run_id || about === this.aboutShown) return;
    this.aboutShown = about;
    say(this.about, t("about", { ...about, short: about.fingerprint.slice(0, 16) }));
  }

  toggleSound() {
    this.page.sound.toggle();
    this.nameSound();
  }

  nameSound() {
    const { context, muted } = this.page.sound;
    say(this.sound, t(context === null ? "sound.off" : muted ? "sound.muted" : "sound.on"));
    this.sound.setAttribute("aria-pressed", String(context !== null && !muted));
  }
}

function capital(text) {
  // a number stays on one line with its unit
  return text ? text[0].toUpperCase() + text.slice(1).replace(/ °C/g, "\u00a0°C") : "";
}
