// @ts-check
import { html } from "../../lib/dom.js";
import { DRAWINGS, sketch } from "./drawings/drawings.js";
import { fieldLabel, fieldValue } from "./fields.js";
import { groupsOf } from "./groups.js";
import { inPlainWords } from "./paths.js";

/** A third of an A4 page between its margins, and letters to match, in px. */
const WIDTH_PX = 230;
const LETTER_PX = 9;
const OLD = "This is the last good sheet: what was being typed when it was printed had mistakes.";

/** What the printer gets: sheet, figures and drawings on one page. Made when it prints.
 * @param {HTMLElement} host @param {import("./live-figures.js").LiveFigures} live @param {AbortSignal} signal */
export function mountPrinting(host, live, signal) {
  addEventListener("beforeprint", () => {
    if (live.figures && live.of) host.replaceChildren(...(live.current ? [] : [html("p", { class: "problem" }, OLD)]), ...printed(live.of, live.figures));
  }, { signal });
  addEventListener("afterprint", () => host.replaceChildren(), { signal });
}

/** @param {import("./paths.js").Doc} doc @param {any} figures */
function printed(doc, figures) {
  const groups = groupsOf(figures).filter((group) => group.rows.length && !["Each mesh", "Notes"].includes(group.title));
  const pictures = Object.values(DRAWINGS).map((draw) => sketch(draw, { figures, doc, width: WIDTH_PX, em: LETTER_PX }));
  const { name = "", note = "", mesh, ...tables } = doc;
  return [
    html("h1", {}, String(name) || "Build sheet"), html("p", {}, String(note)),
    ...figures.warnings.map((/** @type {string} */ text) => html("p", { class: "problem" }, inPlainWords(text))),
    html("div", { class: "printed-columns" },
      ...Object.entries(tables).map(([title, table]) => listing(`Sheet: ${fieldLabel(title).toLowerCase()}`, pairsOf(table))),
      ...groups.map(({ title, rows }) => listing(title, rows.filter(({ path }) => !path.endsWith("_because")).map(({ part, label, value }) => [[part, label].filter(Boolean).join(", "), value])))),
    html("div", { class: "printed-meshes" }, meshTable("Sheet: meshes", mesh), meshTable("Figures of the meshes", figures.meshes)),
    html("div", { class: "printed-pictures" }, ...pictures.filter((picture) => picture !== null)),
    html("ul", {}, ...figures.notes.slice(figures.warnings.length).map((/** @type {string} */ text) => html("li", {}, inPlainWords(text)))),
  ];
}

/** @param {Record<string, unknown>} table @returns {string[][]} */
const pairsOf = (table) => Object.entries(table).map(([name, value]) => [fieldLabel(name), fieldValue(name, value)]);

/** @param {string} title @param {string[][]} pairs */
function listing(title, pairs) {
  const rows = pairs.map(([label = "", value = ""]) => html("tr", {}, html("th", { scope: "row" }, label), html("td", {}, value)));
  return html("table", {}, html("caption", {}, title), html("tbody", {}, ...rows));
}

/** One column for each mesh. @param {string} title @param {Record<string, unknown>[]} meshes */
function meshTable(title, meshes) {
  const names = [...new Set(meshes.flatMap((mesh) => Object.keys(mesh)))].filter((name) => meshes.some((mesh) => mesh[name] !== null));
  const cell = (/** @type {unknown} */ value, /** @type {string} */ name) => (value === null || value === undefined ? "" : fieldValue(name, value));
  const rows = names.map((name) => html("tr", {}, html("th", { scope: "row" }, fieldLabel(name)), ...meshes.map((mesh) => html("td", {}, cell(mesh[name], name)))));
  const head = html("tr", {}, html("td"), ...meshes.map((_, i) => html("th", { scope: "col" }, `Mesh ${i + 1}`)));
  return html("table", {}, html("caption", {}, title), html("thead", {}, head), html("tbody", {}, ...rows));
}
