// @ts-check
import { html, need, setHidden, setText } from "../../lib/dom.js";
import { announced, controls } from "./asked.js";
import { plotFigure } from "./plot.js";

/** @typedef {import("./types.js").Run} Run */

const UNDER_WAY = new Set(["running", "waiting"]);
/** @type {Record<string, string>} */
const ENDS = { done: "Done", wrong: "Something is wrong", stopped: "Stopped", faulted: "It stopped itself" };

/** @param {Run} run */
export const underWay = (run) => UNDER_WAY.has(run.state);

/** Whether somebody works in another part of the page: then the focus stays with them. @param {HTMLElement} host */
function elsewhere(host) {
  const part = document.activeElement?.closest("[data-section]");
  return part != null && !part.contains(host);
}

/** One run, one thing at a time: the step, what it announces or asks, what it found. */
export class RunView {
  /** @param {HTMLElement} host @param {(question: string, value: unknown) => void} answer */
  constructor(host, answer) {
    this.host = host;
    this.answer = answer;
    this.shown = "";
    this.asked = "";
    this.drawn = "";
  }

  /** @param {Run} run @param {import("./types.js").Procedure|undefined} procedure */
  show(run, procedure) {
    this.showLive(underWay(run) ? run.steps.at(-1)?.live ?? null : null);
    const key = JSON.stringify([run.state, run.question, run.steps.length, run.steps.at(-1)?.text, run.steps.at(-1)?.announcement]);
    if (key === this.shown) return;
    this.shown = key;
    const step = run.steps.at(-1);
    const going = underWay(run);
    const title = going ? (step?.title ?? "It begins") : `${procedure?.title ?? run.procedure}: ${ENDS[run.state] ?? run.state}`;
    setText(need(this.host, "[data-run-title]"), title);
    const of = procedure?.steps.length ?? 0;
    setText(need(this.host, "[data-run-step]"), going ? `${procedure?.title ?? run.procedure}, step ${run.steps.length} of ${of}` : (run.wrong ? "" : run.reason ?? ""));
    this.showAnnounced(going ? run : null);
    need(this.host, "[data-run-story]").replaceChildren(...(going ? (step?.text ?? []) : run.steps.flatMap((one) => one.text)).map((text) => html("li", {}, text)));
    this.showQuestion(run);
    need(this.host, "[data-run-outcome]").replaceChildren(...(going ? [] : outcome(run)));
    setHidden(need(this.host, "[data-run-live]"), !going);
    setHidden(need(this.host, "[data-run-end]"), !going);
    setHidden(need(this.host, "[data-run-back]"), going);
    this.showPlots(going ? (step?.plots ?? []) : run.steps.flatMap((one) => one.plots));
  }

  /** @param {Run|null} run */
  showAnnounced(run) {
    const said = run?.question?.announcement ?? run?.steps.at(-1)?.announcement;
    need(this.host, "[data-run-announced]").replaceChildren(...(said ? [announced(said)] : []));
  }

  /** A question that is asked anew takes the focus, and one that is answered hands it to the title: so a keyboard goes through all
   * of it. @param {Run} run */
  showQuestion(run) {
    const form = need(this.host, "[data-run-asked]");
    const asked = run.question;
    setHidden(form, asked === null);
    const key = asked ? run.id + asked.id : "";
    if (key === this.asked) return;
    this.asked = key;
    const free = !elsewhere(this.host);
    form.replaceChildren(...(asked ? controls(asked, (value) => this.answer(asked.id, value)) : []));
    if (!free) return;
    /** @type {HTMLElement} */ (form.querySelector("input, button") ?? need(this.host, "[data-run-title]")).focus();
  }

  /** Takes it out of sight: what stands here would look live when the view is come back to, until there is news of it. */
  leave() {
    setHidden(this.host, true);
    need(this.host, "[data-run-asked]").replaceChildren();
  }

  /** How far it has turned so far, while it does. @param {import("./types.js").Plot|null} live */
  showLive(live) {
    const place = need(this.host, "[data-run-trail]");
    setHidden(place, live === null);
    if (live) place.replaceChildren(plotFigure(live));
  }

  /** @param {import("./types.js").Plot[]} plots */
  showPlots(plots) {
    const key = plots.map((plot) => plot.title).join("|") + this.shown.length;
    if (key === this.drawn) return;
    this.drawn = key;
    need(this.host, "[data-run-plots]").replaceChildren(...plots.map(plotFigure));
  }
}

/** What it found: wrong with its cure, or values. @param {Run} run @returns {HTMLElement[]} */
function outcome(run) {
  if (run.wrong) {
    return [html("div", { class: "run-wrong", role: "alert" }, html("p", {}, run.wrong.text), html("p", {}, html("strong", {}, run.wrong.cure)))];
  }
  const values = run.steps.flatMap((step) => Object.entries(step.values));
  if (!values.length) return [];
  const rows = values.map(([name, found]) => html("tr", {}, html("th", { scope: "row" }, wordsOf(name)),
    html("td", {}, `${Number(found.value.toPrecision(4))} ± ${Number(found.uncertainty.toPrecision(2))} ${unitOf(name)}`)));
  return [html("table", { class: "run-values" }, html("caption", { class: "hint" }, "Found, each with its standard uncertainty"), html("tbody", {}, ...rows))];
}

/** @type {[string, string][]} unit at the end of a name, and as it is written */
const UNITS = [["_kg_m2", "kg·m²"], ["_k_per_w", "K/W"], ["_nm_per_deg", "N·m/°"], ["_nm_s", "N·m·s"], ["_v_s", "V·s/rad"], ["_nm", "N·m"], ["_ohm", "Ω"],
  ["_counts", "counts"], ["_deg", "°"], ["_v", "V"], ["_s", "s"], ["_k", "K"]];

/** @param {string} name */
const unitOf = (name) => UNITS.find(([end]) => name.endsWith(end))?.[1] ?? "";

/** @param {string} name */
function wordsOf(name) {
  const end = UNITS.find(([one]) => name.endsWith(one))?.[0] ?? "";
  const words = name.slice(0, name.length - end.length).replaceAll("_", " ");
  return words.charAt(0).toUpperCase() + words.slice(1);
}
