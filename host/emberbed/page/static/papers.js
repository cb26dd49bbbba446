// The customer's sheet of a run. The shop's name is kept in this browser.

import { el, say } from "./dom.js";
import { t } from "./words.js";

const KEPT = "emberbed-shop";

export function sheetOf(run) {
  const shop = el("input", { id: "shop", maxlength: "80", value: localStorage.getItem(KEPT) ?? "", autocomplete: "organization" });
  const board = el("input", { id: "which-board", maxlength: "80", autocomplete: "off" });
  const said = el("p", { class: "big told", role: "alert" });
  const open = (form) => () => {
    const name = shop.value.trim();
    say(said, name ? "" : t("papers.needs_shop"));
    if (!name) return shop.focus();
    localStorage.setItem(KEPT, name);
    const asked = new URLSearchParams({ shop: name, board: board.value.trim(), form });
    window.open(`/runs/${run}/sheet?${asked}`, "_blank", "noopener");
  };
  return el("section", {},
    el("h2", {}, t("papers.title")), el("p", { class: "quiet" }, t("papers.how")),
    el("div", { class: "fields" },
      el("label", {}, el("small", {}, t("papers.shop")), shop),
      el("label", {}, el("small", {}, t("papers.board")), board)),
    el("div", { class: "row" }, el("button", { onclick: open("html") }, t("papers.open")), el("button", { onclick: open("pdf") }, t("papers.pdf"))),
    said);
}
