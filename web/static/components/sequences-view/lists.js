// @ts-check
import { valueAt, withValue } from "../build-view/paths.js";

/** Changes to the lists of a sequence's document; each gives a new document. A path ends at a list, such as `["steps"]`. */

/** @typedef {import("../build-view/paths.js").Path} Path */
/** @typedef {import("../build-view/paths.js").Doc} Doc */
/** @typedef {import("./kinds.js").Step} Step */

/** @param {Doc} doc @param {Path} list @param {number} at @param {Step} step */
export function inserted(doc, list, at, step) {
  const steps = [...(valueAt(doc, list) ?? [])];
  steps.splice(at, 0, step);
  return withValue(doc, list, steps);
}

/** @param {Doc} doc @param {Path} list @param {number} at */
export function removed(doc, list, at) {
  return withValue(doc, list, valueAt(doc, list).filter((/** @type {Step} */ _, /** @type {number} */ i) => i !== at));
}

/** @param {Doc} doc @param {Path} list @param {number} from @param {number} to */
export function moved(doc, list, from, to) {
  const steps = [...valueAt(doc, list)];
  const [step] = steps.splice(from, 1);
  steps.splice(Math.max(0, Math.min(steps.length, to)), 0, step);
  return withValue(doc, list, steps);
}

/** Which cards there are and of which kind: what differs in it needs other cards, not other values. @param {Step[]} steps @returns {string} */
export function shapeOf(steps) {
  return steps.map((step) => {
    const given = Object.keys(step).filter((key) => ["to_deg", "by_deg", "for_s", "turns", "torque_below_nm", "angle_within_deg"].includes(key));
    const pair = Array.isArray(step.angle_within_deg) ? "pair" : "";
    const other = typeof step.otherwise === "object" ? "run" : "";
    return `${step.do}:${given.sort().join()}:${pair}${other}${Array.isArray(step.steps) ? `(${shapeOf(step.steps)})` : ""}`;
  }).join(";");
}
