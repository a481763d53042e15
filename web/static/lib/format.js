// @ts-check
/** The typographic minus sign, as wide as a figure. */
const MINUS = "\u2212";
const THIN = "\u202f";

/** @param {number} value @param {number} digits */
export function figure(value, digits) {
  const text = Math.abs(value).toFixed(digits);
  return value < 0 && Number(text) !== 0 ? MINUS + text : text;
}

/** As many decimals as one count is worth, three at most.
 * @param {number} degPerCount */
export function angleDigits(degPerCount) {
  if (!(degPerCount > 0)) return 1;
  return Math.min(3, Math.max(0, Math.ceil(-Math.log10(degPerCount))));
}

/** @param {number|null|undefined} deg @param {number} degPerCount */
export function angle(deg, degPerCount) {
  return deg === null || deg === undefined ? "unknown" : `${figure(deg, angleDigits(degPerCount))}°`;
}

/** A number with its unit, or a word for a value nobody knows.
 * @param {number|null|undefined} value @param {string} unit @param {number} digits */
export function quantity(value, unit, digits) {
  return value === null || value === undefined ? "unknown" : `${figure(value, digits)}${THIN}${unit}`;
}

/** @param {number} seconds */
export function duration(seconds) {
  if (seconds < 10) return `${figure(seconds, 1)}${THIN}s`;
  if (seconds < 120) return `${figure(seconds, 0)}${THIN}s`;
  return `${figure(seconds / 60, 0)}${THIN}min`;
}

/** The service gives seconds since 1970 or an ISO 8601 text.
 * @param {number|string} at */
export function timeOfDay(at) {
  const date = new Date(typeof at === "number" ? at * 1000 : at);
  return date.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", second: "2-digit", hourCycle: "h23" });
}

/** A typed number with a point or a comma, 2.5e-6 too; null when it is not one.
 * @param {string} text */
export function readNumber(text) {
  const trimmed = text.trim().replace(",", ".").replace(MINUS, "-");
  return /^[-+]?(\d+\.?\d*|\.\d+)(e[-+]?\d{1,3})?$/i.test(trimmed) ? Number(trimmed) : null;
}
