// @ts-check
import { html } from "../../lib/dom.js";
import { fieldValue, placeLabel } from "./fields.js";
import { pathOf, valueAt } from "./paths.js";

/**
 * @typedef {{figure: string, says: string, formula: string, inputs: string[], source: string}} Reason
 * @typedef {{doc: import("./paths.js").Doc, figures: any, defaults: import("./paths.js").Doc}} Known
 */

/** Why a figure is what it is: what it says, its formula, each input with its value, the source.
 * @param {Reason} reason @param {string} path of the figure @param {Known} known @returns {Node[]} */
export function whyOf(reason, path, known) {
  const index = /\[(\d+)\]/.exec(path)?.[1];
  const inputs = reason.inputs.map((name) => {
    const own = index === undefined ? name : name.replace("[]", `[${index}]`);
    return html("li", {}, `${placeLabel(own)} = ${inputValue(own, known)}`);
  });
  return [
    ...(reason.says ? [html("p", {}, reason.says)] : []),
    html("p", {}, html("code", {}, reason.formula)),
    html("ul", {}, ...inputs),
    html("p", { class: "hint" }, `Source: ${reason.source}.`),
  ];
}

/** From the sheet, else from the figures, else what holds where it is left out. @param {string} name @param {Known} known */
function inputValue(name, known) {
  const field = name.split(".").pop() ?? name;
  const values = [known.doc, known.figures].map((from) => all(from, name)).find((found) => found.length);
  if (values) return values.map((value) => fieldValue(field, value)).join(", ");
  const otherwise = valueAt(known.defaults, pathOf(name));
  return otherwise === undefined || otherwise === null ? "not given" : `${fieldValue(field, otherwise)} (left out)`;
}

/** `mesh[].face_mm` is that of every mesh. @param {any} from @param {string} name @returns {unknown[]} */
function all(from, name) {
  const [list = "", rest] = name.split("[].");
  const found = rest === undefined ? [valueAt(from, pathOf(name))] : (valueAt(from, pathOf(list)) ?? []).map((/** @type {any} */ item) => valueAt(item, pathOf(rest)));
  return found.filter((/** @type {unknown} */ value) => value !== undefined && value !== null && typeof value !== "object");
}

/** What holds where the sheet says nothing, by table. @param {any} schema @returns {import("./paths.js").Doc} */
export function defaultsOf(schema) {
  const tables = Object.entries(/** @type {Record<string, any>} */ (schema.properties)).map(([name, field]) => {
    const reference = (field.$ref ?? field.anyOf?.[0]?.$ref ?? "").replace("#/$defs/", "");
    const fields = Object.entries(/** @type {Record<string, any>} */ (schema.$defs[reference]?.properties ?? {}));
    return [name, Object.fromEntries(fields.map(([key, { default: otherwise }]) => [key, otherwise]))];
  });
  return Object.fromEntries(tables);
}
