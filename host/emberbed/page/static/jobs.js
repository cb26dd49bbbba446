// The bench record: jobs, their checklists, photographs, tests and costs, and how often they succeed.

import { clock, el, fill, sentences } from "./dom.js";
import { t } from "./words.js";
import { get } from "./wire.js";
import { JobItems } from "./job_items.js";

const TOLD = ["board", "serial", "fault", "found", "minutes", "worth"];
const NEW = ["board", "serial", "fault"];
const LONGEST = { board: 80, serial: 80, fault: 500, found: 500, minutes: 6, worth: 14 };

export class JobsScreen {
  constructor(page) {
    this.page = page;
    this.node = el("div");
  }

  async enter(job) {
    try {
      if (job) await this.open(job);
      else await this.showAll();
    } catch (failure) {
      if (!failure.sentences) throw failure;
      fill(this.node, [el("h1", {}, t("jobs.title")), sentences(failure.sentences)]);
    }
  }

  async showAll() {
    const jobs = await get("/api/jobs");
    const figures = el("div", {}, el("p", { class: "quiet" }, t("jobs.counting")));
    const heads = ["job", "opened", "board", "serial", "fault", "outcome"];
    const outcome = (job) => job.outcome_words || t("jobs.open");
    fill(this.node, [
      el("h1", {}, t("jobs.title")),
      table("jobs.title", heads, jobs.map((job) => [
        el("a", { href: `#/jobs/${job.job}` }, String(job.job)), job.opened, job.board, job.serial, job.fault, outcome(job)])),
      jobs.length ? null : el("p", {}, t("jobs.none")),
      el("h2", {}, t("jobs.new")), this.form("new", NEW, {}, (told) => this.begin(told)),
      el("h2", {}, t("jobs.figures")), figures,
    ]);
    fill(figures, [this.figures(await get("/api/jobs/figures"))]); // reads every job's runs: it may take a while
  }

  figures(found) {
    if (!found.rows.length) return el("p", {}, t("jobs.no_figures"));
    const amount = (one) => (one === null ? "–" : `${one} ${found.currency}`);
    const percent = (share) => `${Math.round(100 * share)} %`;
    const cells = (row) => [row.profile, t(`jobs.classes.${row.class}`), String(row.jobs), String(row.works),
      t("jobs.share_of", { share: percent(row.share), low: percent(row.share_low), high: percent(row.share_high) }),
      amount(row.mean_cost), amount(row.cost_per_success), amount(row.gain)];
    const heads = ["profile", "class", "count", "works", "share", "cost", "per_success", "gain"];
    return el("div", {}, table("jobs.figures", heads, found.rows.map(cells)), el("p", { class: "quiet" }, found.note));
  }

  async begin(told) {
    const given = Object.fromEntries(Object.entries(told).filter(([name, text]) => text || name === "board"));
    const made = await this.page.do("/api/jobs/new", given);
    if (made) location.hash = `#/jobs/${made.job}`;
  }

  async open(id) {
    const job = await get(`/api/jobs/${encodeURIComponent(id)}`);
    const state = job.outcome ? t("jobs.closed", { at: job.closed, outcome: job.outcome_words }) : t("jobs.is_open", { at: job.opened });
    const items = new JobItems(this.page, job, () => this.open(id));
    fill(this.node, [
      el("h1", {}, job.title),
      el("p", { class: "big" }, state), job.outcome_note ? el("p", {}, job.outcome_note) : null,
      this.form("told", TOLD, job, (told) => this.change(job, told)),
      el("h2", {}, t("jobs.runs")), runs(job.runs), sentences(job.passes),
      job.lists.map((list) => this.checklist(job, list)),
      el("h2", {}, t("jobs.photos")), items.photos(),
      el("h2", {}, t("jobs.parts")), items.parts(),
      el("h2", {}, t("jobs.tests")), items.tests(),
      el("h2", {}, t("jobs.costs")), sentences(job.costs),
      el("h2", {}, t("jobs.end")), this.ending(job),
      el("div", { class: "row" }, el("a", { class: "button", href: "#/jobs" }, t("jobs.back"))),
    ]);
  }

  form(name, keys, known, done) {
    const boxes = Object.fromEntries(keys.map((key) => [key,
      el("input", { id: `${name}-${key}`, maxlength: String(LONGEST[key]), value: String(known[key] ?? "") })]));
    const told = () => Object.fromEntries(keys.map((key) => [key, boxes[key].value]));
    return el("div", {},
      el("div", { class: "fields" }, keys.map((key) => el("label", { for: `${name}-${key}` }, t(`jobs.${key}`), boxes[key]))),
      el("div", { class: "row" }, el("button", { class: "small", onclick: () => done(told()) }, t(`jobs.${name}_do`))));
  }

  async change(job, told) {
    if (await this.page.do(`/api/jobs/${job.job}/change`, told)) await this.open(job.job);
  }

  checklist(job, list) {
    return el("section", {}, el("h2", {}, list.title),
      el("ul", { class: "sentences checklist" }, list.items.map((item) => this.question(job, list, item))));
  }

  // Only what changes is drawn anew, so that the place on the screen and the focus stay.
  question(job, list, item) {
    const say = async (answer) => {
      if (!(await this.page.do(`/api/jobs/${job.job}/answer`, { list: list.name, item: item.id, answer }))) return;
      const fresh = this.question(job, list, { ...item, answer, note: "", by_run: null, late: "" });
      node.replaceWith(fresh);
      fresh.querySelector('[aria-pressed="true"]').focus();
    };
    const buttons = Object.entries(job.answers).map(([answer, words]) => el("button", {
      class: "small", "aria-pressed": String(item.answer === answer), "aria-label": `${item.short}: ${words}`,
      onclick: () => say(answer) }, words));
    const more = [item.by_run === null ? "" : t("jobs.by_run", { run: item.by_run }), item.note, item.late].filter(Boolean);
    const node = el("li", {}, el("p", {}, item.asks), el("div", { class: "row" }, buttons),
      el("p", { class: "quiet" }, [...more, item.why].join(" · ")));
    return node;
  }

  ending(job) {
    if (job.outcome) {
      const again = async () => (await this.page.do(`/api/jobs/${job.job}/reopen`)) && this.open(job.job);
      return el("button", { onclick: again }, t("jobs.reopen"));
    }
    const note = el("input", { id: "job-note", maxlength: "500" });
    const close = (outcome) => async () =>
      (await this.page.do(`/api/jobs/${job.job}/close`, { outcome, note: note.value })) && this.open(job.job);
    return el("div", {}, el("label", { for: "job-note" }, t("jobs.note")), note,
      el("div", { class: "row" }, Object.entries(job.outcomes).map(([outcome, words]) => el("button", { onclick: close(outcome) }, words))));
  }
}

function runs(list) {
  const limits = (run) => (run.limits_exceeded === null ? "–" : String(run.limits_exceeded));
  const heads = ["run", "started", "profile", "ended", "limits", "time"];
  return table("jobs.runs", heads, list.map((run) => [el("a", { href: `#/runs/${run.run}` }, String(run.run)), run.started,
    run.profile, run.state, limits(run), clock(run.heating_s)]), "runs");
}

function table(label, heads, rows, texts = "jobs") {
  return el("div", { class: "wide", tabindex: "0", role: "region", "aria-label": t(label) },
    el("table", {}, el("thead", {}, el("tr", {}, heads.map((head) => el("th", { scope: "col" }, t(`${texts}.${head}`))))),
      el("tbody", {}, rows.map((cells) => el("tr", {}, cells.map((cell) => el("td", {}, cell)))))));
}
