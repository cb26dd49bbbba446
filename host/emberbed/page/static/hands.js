// The bar at the bottom edge while a run is on: stop, the one large answer, the one mark, and the
// bounded changes. Always in the same place. Esc stops from anywhere; nothing here starts heat.

import { el, fill, say, show } from "./dom.js";
import { t } from "./words.js";

const SETTLE_MS = 700; // a touch within it was meant for what was there before
const TOLD_MS = 12000;
const NO_PROMPT = 255;

export class Hands {
  constructor(page) {
    this.page = page;
    this.prompt = null;
    this.since = 0;
    this.node = document.getElementById("hands");
    this.stop = el("button", { class: "stop", onclick: () => this.halt() }, t("hands.stop"));
    this.answer = el("button", { class: "answer", onclick: () => this.reply() });
    this.mark = el("button", { class: "mark", onclick: () => this.touch("m") });
    this.changes = el("div", { class: "changes", role: "group", "aria-label": t("hands.changes") });
    this.told = el("ul", { class: "sentences", role: "alert", hidden: true });
    this.smoke = el("button", { class: "smoke", onclick: () => this.touch("s") }, t("hands.smoke"));
    this.more = el("button", { "aria-expanded": "false", onclick: () => this.open(!this.opened) }, t("hands.change"));
    this.bar = el("div", { class: "bar" }, this.stop, this.smoke, this.answer, this.mark, this.more);
    this.shown = "";
  }

  update(moment) {
    const state = moment.desk.state;
    const on = state === "on" || state === "starting";
    if (on !== this.on) {
      this.on = on;
      fill(this.node, on ? [this.told, this.changes, this.bar] : [this.told]);
      this.open(false);
    }
    if (!on) return;
    const facts = moment.facts;
    this.note(facts?.ask ?? null);
    const heated = facts === null || facts.heating;
    say(this.stop, t(heated ? "hands.stop" : "hands.stop_cold"));
    const guest = this.page.about.guest;
    this.answer.disabled = guest || !facts?.ask || moment.lost > 0;
    say(this.answer, this.answerText(facts, guest));
    this.mark.disabled = guest || !facts?.mark || moment.lost > 0;
    say(this.mark, facts?.mark ? this.markText(facts.mark) : t("hands.no_mark"));
    const changes = guest || moment.lost > 0 ? [] : facts?.changes ?? [];
    this.smoke.disabled = !changes.some(({ key }) => key === "s");
    this.offer(changes.filter(({ key }) => key !== "s"));
  }

  answerText(facts, guest) {
    if (guest) return t("hands.guest");
    if (!facts?.ask) return t(facts?.press ? "hands.at_device" : "hands.no_ask");
    const key = `answers.${facts.ask.answer}`;
    return t(key) === key ? facts.ask.answer : t(key);
  }

  markText(hint) {
    return hint === "mark" ? t("hands.note_mark") : t("hands.mark", { event: hint.replace(/^mark /, "") });
  }

  // The changes that do something now; made anew only when they differ.
  offer(changes) {
    this.more.disabled = changes.length === 0;
    if (changes.length === 0) this.open(false);
    const shown = JSON.stringify(changes);
    if (shown === this.shown) return;
    this.shown = shown;
    fill(this.changes, changes.map(({ key, label }) =>
      el("button", { "aria-keyshortcuts": key, onclick: () => this.touch(key) }, t(`changes.${key}`, { label }))));
  }

  open(wanted) {
    this.opened = wanted;
    this.more.setAttribute("aria-expanded", String(wanted));
    show(this.changes, wanted);
  }

  note(ask) {
    const prompt = ask ? `${ask.prompt}` : null;
    if (prompt === this.prompt) return;
    this.prompt = prompt;
    this.since = performance.now();
  }

  halt() {
    this.page.do("/api/stop");
  }

  // One answer to one question; a second touch at once is not meant for the next question.
  reply() {
    const ask = this.page.moment.facts?.ask;
    if (!ask || performance.now() - this.since < SETTLE_MS) return;
    this.since = performance.now();
    this.page.do("/api/answer", { prompt: ask.prompt ?? NO_PROMPT });
  }

  touch(key) {
    const facts = this.page.moment.facts;
    if (facts) this.page.do("/api/touch", { key, stage: facts.stage });
  }

  key(event) {
    if (!this.on || event.repeat) return;
    if (event.key === "Escape") {
      event.preventDefault();
      this.halt();
      return;
    }
    const typing = ["INPUT", "SELECT", "TEXTAREA"].includes(event.target.tagName);
    if (typing || event.ctrlKey || event.altKey || event.metaKey || this.page.about.guest) return;
    if (event.key.toLowerCase() === "m" && !this.mark.disabled) this.touch("m");
  }

  tell(sentences) {
    fill(this.told, sentences.map((one) => el("li", { class: "error" }, one)));
    show(this.told, true);
    clearTimeout(this.timer);
    this.timer = setTimeout(() => show(this.told, false), TOLD_MS);
  }
}
