// @ts-check
import { html, need, setHidden } from "../../lib/dom.js";
import { plotFigure } from "./plot.js";

/** @typedef {import("./types.js").Trend} Trend */

/** What normal moves say of wear. @param {HTMLElement} host @param {import("./types.js").Health} found */
export function showHealth(host, found) {
  const known = found.trends.filter((one) => one.now !== null);
  setHidden(need(host, "[data-health-values]"), !known.length);
  need(host, "[data-health-rows]").replaceChildren(...known.map(row), ...(found.off_counts === null ? [] : [marks(found)]));
  need(host, "[data-health-summary]").textContent = found.points
    ? `From ${found.moves} normal moves since ${new Date(found.since ?? "").toLocaleDateString()}, compared with the first days.`
    : "No moves to compare yet. Nothing moves for this: what it does anyway is looked at, day by day.";
  need(host, "[data-health-notes]").replaceChildren(...found.notes.map((note) => html("li", {}, note)));
  need(host, "[data-health-plots]").replaceChildren(...found.plots.map(plotFigure));
}

/** @param {Trend} one */
const row = (one) =>
  html("tr", {}, html("th", { scope: "row" }, one.title, ...(one.shows ? [html("strong", {}, " (worth a look)")] : [])),
    html("td", {}, `${figure(one.now)} ${one.unit}`), html("td", {}, share(one.change)));

/** @param {import("./types.js").Health} found */
const marks = (found) =>
  html("tr", {}, html("th", { scope: "row" }, "Count off at the home mark"), html("td", {}, `${found.off_counts} counts`), html("td", {}, ""));

/** @param {number|null} value */
const figure = (value) => (value === null ? "" : String(Number(value.toPrecision(3))));

/** @param {number|null} value */
const share = (value) => (value === null ? "" : `${value < 0 ? "−" : "+"}${Math.abs(100 * value).toFixed(0)} %`);
