// @ts-check
import { angle, figure, quantity } from "../../lib/format.js";
import { html } from "../../lib/dom.js";
import { band, paletteOf } from "../strip-chart/band.js";
import { scalesOf } from "../strip-chart/scales.js";

/** @typedef {{t_s: number, angle_deg: number|null, speed_deg_s: number, torque_nm: number}} Row */

const BANDS = ["Angle, °", "Speed, °/s", "Torque, N·m"];
const RECOLOURED_BY = ["(prefers-color-scheme: dark)", "(prefers-contrast: more)"];

/** The seconds before a fault: angle, speed and torque, and the same in a sentence.
 * @param {import("../../lib/page.js").Page} page @param {Row[]} rows @param {AbortSignal} signal @returns {Promise<HTMLElement>} */
export async function traceFigure(page, rows, signal) {
  const { default: Plot } = await import("../../vendor/uplot/uPlot.esm.js");
  const times = rows.map((row) => row.t_s);
  const columns = [times, rows.map((row) => row.angle_deg), rows.map((row) => row.speed_deg_s), rows.map((row) => row.torque_nm)];
  const places = BANDS.map(() => html("div", { "data-plot": "" }));
  const bands = html("div", { class: "bands", role: "img", "aria-label": summary(page, rows) },
    ...BANDS.map((words, i) => html("div", { class: "band" }, html("p", { class: "caption" }, words), /** @type {Node} */ (places[i]))));
  const shown = html("figure", { class: "trace" }, bands, html("figcaption", { class: "hint" }, summary(page, rows)));
  const look = { seconds: Math.max(1, -Math.min(...times)), readAt: null, endWord: "stop" };
  const scales = scalesOf(page.store, () => columns);
  /** @type {import("../strip-chart/band.js").uPlot[]} */
  let plots = [];
  let palette = paletteOf(document.body);
  const draw = () => plots.forEach((plot, i) => plot.setData([times, /** @type {(number|null)[]} */ (columns[i + 1])]));
  const size = new ResizeObserver(() => {
    if (!shown.isConnected) return;
    if (!plots.length) plots = scales.map((scale, i) => band(Plot, /** @type {HTMLElement} */ (places[i]), scale, look, () => palette));
    plots.forEach((plot, i) => plot.setSize({ width: places[i]?.clientWidth || 80, height: places[i]?.clientHeight || 80 }));
    draw();
  });
  const recolour = () => {
    palette = paletteOf(document.body);
    draw();
  };
  size.observe(shown);
  for (const query of RECOLOURED_BY) matchMedia(query).addEventListener("change", recolour, { signal });
  signal.addEventListener("abort", () => {
    size.disconnect();
    plots.forEach((plot) => plot.destroy());
  });
  return shown;
}

/** @param {import("../../lib/page.js").Page} page @param {Row[]} rows */
function summary({ store }, rows) {
  const last = rows.at(-1);
  if (!last) return "Nothing was recorded.";
  const peak = Math.max(...rows.map((row) => Math.abs(row.torque_nm)));
  const fastest = Math.max(...rows.map((row) => Math.abs(row.speed_deg_s)));
  const seconds = figure(-(rows[0]?.t_s ?? 0), 0);
  return `The ${seconds} s before it stopped at ${angle(last.angle_deg, store.snapshot?.deg_per_count ?? 1)}: `
    + `up to ${quantity(fastest, "°/s", 1)} and ${quantity(peak, "N·m", 2)}.`;
}
