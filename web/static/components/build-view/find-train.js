// @ts-check
import { html, need, setText } from "../../lib/dom.js";
import { readNumber } from "../../lib/format.js";
import { report } from "../../lib/report.js";
import { fieldValue } from "./fields.js";

/** A little longer than the service lets a search take. */
const SEARCH_TIMEOUT_MS = 130_000;

/** @typedef {{driver_teeth: number, driven_teeth: number, module_mm: number}} Wheels */
/** @typedef {{meshes: Wheels[], gear_ratio: number, centre_distances_mm: number, largest_wheel_mm: number, speed_deg_s: number,
 *   torque_margin: number, build: import("./paths.js").Doc}} Train */
/** @typedef {{items: Train[], rule: string, none_because: string|null, notes: string[]}} Found */

/** Looks for trains that reach a speed and a torque with the sheet's motor; each can be opened as the sheet.
 * @param {HTMLElement} host @param {import("../../lib/api.js").Api} api @param {import("./draft.js").Draft} draft
 * @param {(words: string) => void} tell @param {AbortSignal} signal */
export function mountFindTrain(host, api, draft, tell, signal) {
  const form = /** @type {HTMLFormElement} */ (need(host, "form"));
  const found = need(host, "[data-trains]");
  const searching = need(host, "[data-searching]");
  const wanted = () => Object.fromEntries([.../** @type {NodeListOf<HTMLInputElement>} */ (form.querySelectorAll("input"))]
    .filter((input) => input.value.trim() !== "").map((input) => [input.name, readNumber(input.value) ?? input.value]));

  const search = async () => {
    setText(searching, "Searching through all of them. This may take some seconds.");
    try {
      /** @type {Found} */
      const answer = await api.call("POST", "trains", { build: draft.doc, ...wanted() }, { signal, timeoutMs: SEARCH_TIMEOUT_MS });
      found.replaceChildren(...shown(answer, (train) => {
        draft.replace(train.build);
        tell("This train is in the sheet, not saved yet. Undo takes it out.");
      }));
    } finally {
      setText(searching, "");
    }
  };
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    void report(host, search());
  }, { signal });
}

/** @param {Found} found @param {(train: Train) => void} open @returns {Node[]} */
function shown({ items, rule, none_because: none, notes }, open) {
  if (!items.length) return [html("p", { role: "status" }, none ?? "No train was found.")];
  const list = items.map((train, i) => {
    const button = html("button", { type: "button", "aria-label": `Open train ${i + 1} as the sheet` }, "Open as the sheet");
    button.addEventListener("click", () => open(train));
    return html("li", {}, html("p", {}, html("strong", {}, wheelsOf(train)), html("br"), wordsOf(train)), button);
  });
  const count = html("p", { role: "status" }, `${items.length} train${items.length === 1 ? "" : "s"}.`);
  return [count, html("ol", { class: "trains" }, ...list), html("p", { class: "hint" }, rule), ...notes.map((note) => html("p", { class: "hint" }, note))];
}

/** @param {Train} train */
function wheelsOf({ meshes }) {
  return meshes.map((mesh) => `${mesh.driver_teeth} to ${mesh.driven_teeth}, module ${mesh.module_mm}`).join("; ");
}

/** @param {Train} train */
function wordsOf({ gear_ratio, centre_distances_mm, largest_wheel_mm, speed_deg_s, torque_margin }) {
  const say = (/** @type {string} */ name, /** @type {number} */ value) => fieldValue(name, Number(value.toPrecision(3)));
  return `Ratio ${say("", gear_ratio)}, axles ${say("_mm", centre_distances_mm)} in a row, largest wheel ${say("_mm", largest_wheel_mm)}. `
    + `Reaches ${say("_deg_s", speed_deg_s)}; its teeth bear ${say("", torque_margin)} times the torque.`;
}
