// @ts-check
import { html, need } from "../../lib/dom.js";
import { report } from "../../lib/report.js";
import { fieldLabel, fieldValue } from "./fields.js";

/** The sheet and its figures, to read.
 * @type {import("../../lib/page.js").Mount} */
export function mountBuildView(section, page, signal) {
  const place = need(section, "[data-build]");
  void report(section, (async () => {
    const [sheet, figures] = await Promise.all(["build", "figures"].map((name) => page.api.call("GET", page.commands.at(name))));
    if (!signal.aborted) place.replaceChildren(...tablesOf("Sheet", sheet), ...tablesOf("Figures", figures));
  })());
}

/** Plain values make one table; what has fields of its own makes another.
 * @param {string} title @param {Record<string, unknown>} values @returns {HTMLElement[]} */
function tablesOf(title, values) {
  /** @type {HTMLElement[]} */
  const tables = [];
  /** @type {[string, unknown][]} */
  const plain = [];
  for (const [name, value] of Object.entries(values)) {
    if (value === null) continue;
    if (Array.isArray(value) && value.every((item) => typeof item === "object")) {
      value.forEach((item, i) => tables.push(...tablesOf(`${title}: ${fieldLabel(name)} ${i + 1}`, item)));
    } else if (Array.isArray(value)) {
      tables.push(html("div", {}, html("h2", {}, fieldLabel(name)), html("ul", {}, ...value.map((item) => html("li", {}, String(item))))));
    } else if (typeof value === "object") {
      tables.push(...tablesOf(`${title}: ${fieldLabel(name)}`, /** @type {Record<string, unknown>} */ (value)));
    } else {
      plain.push([name, value]);
    }
  }
  if (plain.length) tables.unshift(table(title, plain));
  return tables;
}

/** @param {string} title @param {[string, unknown][]} fields */
function table(title, fields) {
  const rows = fields.map(([name, value]) => (
    html("tr", {}, html("th", { scope: "row" }, fieldLabel(name)), html("td", {}, fieldValue(name, value)))
  ));
  return html("table", {}, html("caption", {}, title), html("tbody", {}, ...rows));
}
