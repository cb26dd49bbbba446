// The heater: what the device says of itself, and its readings as they come. Nothing is armed here.

import { degrees, el, fill, reading, say } from "./dom.js";
import { t } from "./words.js";

export class HeaterScreen {
  constructor(page) {
    this.page = page;
    this.node = el("div");
    this.shown = "";
  }

  enter() {
    this.shown = "";
    if (["idle", "over", "failed"].includes(this.page.moment.desk.state)) this.page.do("/api/look");
  }

  leave() {
    if (["idle", "over", "failed"].includes(this.page.moment.desk.state)) this.page.do("/api/look-away");
  }

  update(moment) {
    const busy = ["starting", "on"].includes(moment.desk.state);
    const look = busy ? null : moment.look;
    if (look?.tested && look.tested.at !== this.testedAt) this.testing = false;
    const shape = JSON.stringify([busy, this.testing, look && { ...look, sensors: look.sensors?.map((one) => [one.name, one.fault]) }]);
    if (shape !== this.shown) {
      this.shown = shape;
      this.build(busy, look);
    }
    (look?.sensors ?? []).forEach((one, n) => this.readings?.[n] && say(this.readings[n], reading(one.c)));
  }

  build(busy, look) {
    const head = el("h1", {}, t("heater_page.title"));
    const again = el("button", { onclick: () => this.page.do("/api/look") }, t("heater_page.again"));
    if (busy) return fill(this.node, [head, el("p", { class: "big" }, t("heater_page.busy"))]);
    if (!look) return fill(this.node, [head, el("p", { class: "big" }, t("heater_page.asking"))]);
    if (look.state === "failed") return fill(this.node, [head, look.sentences.map((one) => el("p", { class: "big" }, one)), el("div", { class: "row" }, again)]);
    this.readings = (look.sensors ?? []).map(() => el("b"));
    const head2 = (keys) => el("thead", {}, el("tr", {}, keys.map((key) => el("th", { scope: "col" }, t(`heater_page.${key}`)))));
    return fill(this.node, [
      head,
      el("p", { class: "big" }, look.state === "ended" ? t("heater_page.ended") : t("heater_page.state", { state: look.device_state })),
      look.state === "ended" ? el("div", { class: "row" }, again) : null,
      el("h2", {}, t("heater_page.sensors")),
      el("div", { class: "wide", tabindex: "0", role: "region", "aria-label": t("heater_page.sensors") }, el("table", {}, head2(["number", "name", "reading", "converter", "ceiling", "offset"]),
        el("tbody", {}, (look.sensors ?? []).map((one, n) => el("tr", { class: one.fault ? "wrong" : null },
          el("td", {}, String(one.number)), el("td", {}, one.name), el("td", {}, this.readings[n], one.fault ? ` ${one.fault}` : ""),
          el("td", {}, one.converter), el("td", {}, degrees(one.ceiling_c, 0)), el("td", {}, degrees(one.offset_c, 2))))))),
      el("h2", {}, t("heater_page.zones")),
      el("ul", {}, look.zones.map((zone) => el("li", {}, t("heater_page.zone", zone)))),
      el("h2", {}, t("heater_page.safety")),
      el("ul", { class: "sentences" },
        this.fact(look.switch_sensed, "switch"), this.fact(look.current_sensed, "current"),
        this.fact(look.cut_out, "cut_out"), this.fact(look.fan, "fan"), this.fact(look.socket_w > 0, "socket", look)),
      el("h2", {}, t("heater_page.test")),
      this.test(look),
      el("details", {}, el("summary", {}, t("heater_page.settings")),
        el("ul", {}, look.settings.map((line) => el("li", {}, line))), el("p", { class: "quiet" }, t("heater_page.settings_how"))),
      el("h2", {}, t("heater_page.device")),
      el("p", {}, t("heater_page.about", look)),
    ]);
  }

  // The self-test: asked for here, done by the device, told in sentences. It never heats.
  test({ tested, state }) {
    const ask = el("button", { disabled: this.testing || state === "ended", onclick: () => this.askTest() }, t(this.testing ? "heater_page.testing" : "heater_page.test_do"));
    const told = !tested ? [el("li", {}, t("heater_page.test_what"))]
      : [...tested.doubts.map((one) => el("li", { class: "error" }, one)), ...tested.notes.map((one) => el("li", { class: "warning" }, one)),
        tested.doubts.length ? null : el("li", {}, t("heater_page.test_good", tested))];
    return el("div", {}, el("div", { class: "row" }, ask, tested ? el("span", { class: "quiet" }, t("heater_page.test_at", tested)) : null),
      el("div", { role: "status" }, el("ul", { class: "sentences" }, told)));
  }

  async askTest() {
    this.testedAt = this.page.moment.look?.tested?.at ?? null;
    this.testing = Boolean(await this.page.do("/api/self-test"));
  }

  fact(so, key, values) {
    return el("li", { class: so ? null : "warning" }, t(`heater_page.${key}_${so ? "yes" : "no"}`, values));
  }
}
