// @ts-check
import { tickStep } from "../../lib/geometry.js";

/** @typedef {[number, number]} Range */
/** @typedef {(number|null)[][]} Columns time, angle, speed, torque */

/** An endless travel shows at least this much, so that rest does not look like motion. */
const LEAST_SPAN_DEG = 10;

/** The three bands' scales: fixed by the sheet's travel and limits, so that the strip does not jump; torque makes
 * room for what went over its limit.
 * @param {import("../../lib/store.js").Store} store @param {() => Columns} columns
 * @returns {[import("./band.js").Scale, import("./band.js").Scale, import("./band.js").Scale]} */
export function scalesOf(store, columns) {
  const speed = () => bothWays(store.snapshot?.limits?.speed_deg_s ?? 1);
  const torque = () => bothWays(store.snapshot?.limits?.torque_nm ?? 1);
  const peak = () => Math.max(torque()[1], ...known(columns()[3]).map(Math.abs));
  const angles = () => travelOf(store.snapshot?.travel ?? null) ?? spanOf(known(columns()[1]));
  return [
    { range: () => widened(angles(), 0.1), splits: () => steps(angles()), limits: () => [], last: false },
    { range: () => widened(speed(), 0.3), splits: () => threeOf(speed()), limits: () => [], last: false },
    { range: () => widened(bothWays(peak()), 0.15), splits: () => threeOf(torque()), limits: torque, last: true },
  ];
}

/** @param {(number|null)[]|undefined} values */
const known = (values) => (values ?? []).filter((value) => value !== null);
/** @param {number} most @returns {Range} */
const bothWays = (most) => [-most, most];
/** @param {Range} range */
const threeOf = ([low, high]) => [low, (low + high) / 2, high];
/** @param {Range} range @param {number} share @returns {Range} */
const widened = ([low, high], share) => [low - (high - low) * share, high + (high - low) * share];

/** @param {import("../../lib/types.js").Travel|null} travel @returns {Range|null} */
function travelOf(travel) {
  if (!travel || travel.endless || travel.min_deg === null || travel.max_deg === null) return null;
  return [travel.min_deg, travel.max_deg];
}

/** @param {number[]} values @returns {Range} */
function spanOf(values) {
  const low = Math.min(Infinity, ...values);
  return Number.isFinite(low) ? [low, Math.max(low + LEAST_SPAN_DEG, ...values)] : [0, LEAST_SPAN_DEG];
}

/** @param {Range} range */
function steps([low, high]) {
  const step = tickStep((high - low) / 3);
  const first = Math.ceil(low / step);
  return Array.from({ length: Math.floor(high / step) - first + 1 }, (_, i) => (first + i) * step);
}
