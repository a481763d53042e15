// @ts-check
import { duration } from "../../../lib/format.js";
import { fieldValue } from "../fields.js";
import { Plot } from "./plot.js";

/** @typedef {{t_s: number, winding_c: number}} WarmPoint */
/** @typedef {{load: "working"|"overload"|"stall", for_ever_c: number|null, seconds_to_limit: number|null, points: WarmPoint[]}} Warming */

const KINDS = { working: "thick", overload: "dashes", stall: "dots" };
const NAMES = { working: "Solid: at the working point", overload: "Dashed: at the overload torque", stall: "Dotted: stalled" };

/** The winding's temperature over time from the surroundings' at three loads, against what it stands.
 * @type {import("./drawings.js").Draw} */
export function warming({ figures, width, em }) {
  const { heat } = figures;
  /** @type {Warming[]} */
  const curves = (heat?.warming ?? []).filter((/** @type {Warming} */ curve) => curve.points.length > 1);
  if (!curves.length) return null;
  const least = Math.min(heat.ambient_c, ...curves.flatMap((curve) => curve.points.map((point) => point.winding_c)));
  const most = heat.max_winding_c + 0.25 * (heat.max_winding_c - least);
  const latest = Math.max(...curves.map((curve) => curve.points.at(-1)?.t_s ?? 0));
  const plot = new Plot(width, em, { least: 0, most: latest / 60, unit: "min" }, { least, most, unit: "°C" });
  for (const { load, points } of curves) plot.line(points.map((point) => [point.t_s / 60, point.winding_c]), KINDS[load]);
  plot.levels([{ value: heat.max_winding_c, words: `stands ${degC(heat.max_winding_c)}`, kind: "stop" }]);
  return { pictures: [plot.svg], words: `${curves.map(inWords).join(" ")} Thick line: the winding stands ${degC(heat.max_winding_c)}.` };
}

/** @param {Warming} curve */
function inWords({ load, for_ever_c, seconds_to_limit }) {
  if (seconds_to_limit !== null) return `${NAMES[load]}, too hot after ${duration(seconds_to_limit)}.`;
  return for_ever_c === null ? `${NAMES[load]}, warming without end.` : `${NAMES[load]}, ends at ${degC(for_ever_c)}.`;
}

/** @param {number} value */
const degC = (value) => fieldValue("_c", Number(value.toPrecision(3)));
