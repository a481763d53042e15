// @ts-check
import { html, setHidden, setText } from "../../lib/dom.js";
import { fieldValue, placeLabel } from "./fields.js";
import { inPlainWords } from "./paths.js";
import { placed } from "./form.js";

/** What stays in sight while the sheet is edited. @type {[string, string][]} */
const GLANCE = [
  ["One count", "deg_per_count"], ["No load", "no_load_output_deg_s"], ["Stall", "output_stall_torque_nm"], ["Suggested overload", "suggested_overload_nm"],
];

/** A few figures that stay in sight, and whether they are those of the draft.
 * @param {HTMLElement} host @param {import("./live-figures.js").LiveFigures} live */
export function showGlance(host, { figures, current }) {
  if (!figures) return;
  if (!host.firstChild) host.append(...GLANCE.map(([words]) => html("div", {}, html("dt", {}, words), html("dd", {}))));
  GLANCE.forEach(([, name], i) => {
    const value = host.children[i]?.querySelector("dd");
    const short = Number(figures[name].toPrecision(3));
    if (value) setText(value, fieldValue(name, short));
  });
  host.toggleAttribute("data-old", !current);
}

/** What is wrong with the build, worst first; written anew only when it differs.
 * @param {HTMLElement} host @param {string[]} warnings */
export function showWarnings(host, warnings) {
  const texts = warnings.map(inPlainWords);
  if (host.dataset.shows === texts.join("\n")) return;
  host.dataset.shows = texts.join("\n");
  host.replaceChildren(...texts.map((text) => html("p", { class: "problem" }, text)));
}

/** Each mistake of the sheet as a button that goes to its field.
 * @param {HTMLElement} host @param {import("../../lib/api.js").Mistake[]} mistakes @param {(name: string) => void} goTo */
export function showMistakes(host, mistakes, goTo) {
  setHidden(host, !mistakes.length);
  host.replaceChildren(...[...placed(mistakes)].map(([name, text]) => {
    const button = html("button", { type: "button" }, name ? `${placeLabel(name)}: ${text}` : text);
    button.addEventListener("click", () => goTo(name));
    return html("li", {}, button);
  }));
}
