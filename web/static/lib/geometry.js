// @ts-check
const RADIAN = Math.PI / 180;

/** A point on a drawing: angles run counter-clockwise from the right, as on paper.
 * @param {number} deg @param {number} radius @returns {[number, number]} */
export function polar(deg, radius) {
  return [radius * Math.cos(deg * RADIAN), -radius * Math.sin(deg * RADIAN)];
}

/** @param {number} x @param {number} y */
export function bearing(x, y) {
  return Math.atan2(-y, x) / RADIAN;
}

/** @param {number[]} numbers */
export function coordinates(...numbers) {
  return numbers.map((number) => number.toFixed(2)).join(" ");
}

/** An arc as path data, from one angle to another the way the numbers run.
 * @param {number} from @param {number} to @param {number} radius @param {boolean} [join] continue the path before it */
export function arc(from, to, radius, join = false) {
  const middle = (from + to) / 2;
  const sweep = to > from ? 0 : 1;
  const large = Math.abs(to - from) / 2 > 180 ? 1 : 0;
  const leg = (/** @type {number} */ end) => `A ${coordinates(radius, radius)} 0 ${large} ${sweep} ${coordinates(...polar(end, radius))}`;
  return `${join ? "L" : "M"} ${coordinates(...polar(from, radius))} ${leg(middle)} ${leg(to)}`;
}

/** A piece of a ring. @param {number} from @param {number} to @param {number} inner @param {number} outer */
export function sector(from, to, inner, outer) {
  return `${arc(from, to, outer)} ${arc(to, from, inner, true)} Z`;
}

/** The smallest step of a kind people count in that is no smaller than asked.
 * @param {number} least degrees */
export function tickStep(least) {
  return [1, 2, 5, 10, 15, 30, 45, 90].find((step) => step >= least) ?? 90;
}
