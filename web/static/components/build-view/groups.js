// @ts-check
import { fieldLabel, fieldValue } from "./fields.js";
import { inPlainWords } from "./paths.js";

/**
 * @typedef {{path: string, part: string, label: string, value: string}} Row a figure; `part` is the heading it stands under
 * @typedef {{title: string, rows: Row[], empty: string}} Group
 */

/** @type {{title: string, names: string[], empty?: string}[]} */
export const GROUPS = [
  { title: "Counting", names: ["counts_per_motor_turn", "counts_per_output_turn", "deg_per_count", "count_rate_hz", "highest_count_rate_hz", "speed_resolution"] },
  {
    title: "Speed and torque",
    names: ["no_load_output_deg_s", "seconds_per_60_deg", "output_stall_torque_nm", "continuous_torque_nm", "output_max_power_w", "max_efficiency",
      "sudden_stop_torque_nm", "sudden_stop_at_deg_s", "sudden_stop_speed_deg_s", "working_point"],
  },
  { title: "Motor", names: ["motor"] },
  { title: "Train", names: ["gear_ratio", "output_sense", "train_efficiency", "self_locking", "backlash_deg", "weakest_mesh"] },
  { title: "Each mesh", names: ["meshes"] },
  { title: "Limits worth setting", names: ["suggested_overload_nm", "suggested_overload_current_a", "suggested_overload_duty", "suggested_limits"] },
  { title: "Heat", names: ["heat"], empty: "Give max_winding_c and thermal_k_per_w of the motor, and thermal_time_s, to see how warm it gets." },
  { title: "Supply", names: ["supply"] },
  { title: "Sensor input", names: ["input"], empty: "Add an input table to see what the sensors become at the pins." },
  { title: "Pulse", names: ["pulse"], empty: "Add a pulse table to see which angle belongs to which pulse." },
  { title: "Notes", names: ["notes"] },
];
/** Significant digits: more than any sheet is good for. */
const FIGURES = 4;
/** Drawn as curves, or said elsewhere: warnings stand first of all. */
const NOT_LISTED = new Set(["curve", "points", "warnings", "load"]);
/** Tables that are a group by themselves need no heading in it. */
const WHOLE_GROUPS = new Set(["motor", "heat", "supply", "input", "pulse"]);

/** Every figure under its heading; one that no heading names comes last, so that none is lost.
 * @param {any} figures @returns {Group[]} */
export function groupsOf(figures) {
  const named = new Set(GROUPS.flatMap((group) => group.names));
  const others = Object.keys(figures).filter((name) => !named.has(name));
  const groups = [...GROUPS, { title: "More", names: others }].map(({ title, names, empty = "" }) => (
    { title, empty, rows: names.flatMap((name) => rowsOf(name, name, figures[name], "")) }
  ));
  return groups.filter((group) => group.rows.length || group.empty);
}

/** @param {string} name @param {string} path @param {any} value @param {string} part @returns {Row[]} */
function rowsOf(name, path, value, part) {
  if (value === null || value === undefined || NOT_LISTED.has(name)) return [];
  if (value.duty_type) return [{ path, part: "Duty types", label: value.duty_type, value: dutyOf(value) }];
  if (Array.isArray(value)) return value.flatMap((item, i) => rowsOf("", `${path}[${i}]`, item, headingOf(name, item, i)));
  if (typeof value !== "object") return [{ path, part, label: fieldLabel(name), value: valueOf(name, value) }];
  const heading = part || (WHOLE_GROUPS.has(name) ? "" : fieldLabel(name));
  return Object.entries(value).flatMap(([key, inner]) => rowsOf(key, `${path}.${key}`, inner, heading));
}

/** @param {string} name of the list @param {any} item @param {number} i */
function headingOf(name, item, i) {
  if (name === "warming") return `Warming: ${item.load}`;
  return `${name === "meshes" ? "Mesh" : name === "points" ? "Point" : fieldLabel(name)} ${i + 1}`;
}

/** @param {{torque_nm: number, current_a: number}} duty */
function dutyOf({ torque_nm, current_a }) {
  return `${fieldValue("torque_nm", Number(torque_nm.toPrecision(3)))}, ${fieldValue("current_a", Number(current_a.toPrecision(3)))}`;
}

/** @param {string} name @param {unknown} value */
function valueOf(name, value) {
  if (name === "weakest_mesh") return `mesh ${Number(value) + 1}`;
  if (typeof value === "number") return fieldValue(name, Number(value.toPrecision(FIGURES)));
  return typeof value === "string" ? inPlainWords(value) : fieldValue(name, value);
}

/** Its name among the reasons: the place without the numbers. @param {string} path */
export const reasonName = (path) => path.replace(/\[\d+\]/g, "[]");
