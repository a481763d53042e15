// @ts-check
import { nameOfPointer } from "../build-view/paths.js";

const STEP_PLACE = /^(?:steps\[\d+\](?:\.(?=steps))?)+/;

/** The mistakes that the service found, by the step that they are in, and those that are in none.
 * @param {import("../../lib/api.js").Mistake[]} errors @returns {{steps: Map<string, string>, others: string[]}} */
export function mistakesByStep(errors) {
  /** @type {Map<string, string>} */
  const steps = new Map();
  /** @type {string[]} */
  const others = [];
  for (const { detail, pointer } of errors) {
    const place = STEP_PLACE.exec(nameOfPointer(pointer))?.[0];
    if (place) steps.set(place, detail.replace(/^[\w[\].]+: /, ""));
    else others.push(detail);
  }
  return { steps, others };
}
