// @ts-check
/** A field's name ends with its unit; the longest ending that fits is the one. */
const UNITS = /** @type {const} */ ([
  ["_nm_per_deg", "N·m/°"], ["_kg_m2", "kg·m²"], ["_deg_s3", "°/s³"], ["_deg_s2", "°/s²"], ["_deg_s", "°/s"], ["_k_per_w", "K/W"],
  ["deg_per_count", "°"], ["_deg", "°"], ["_rpm", "1/min"], ["_ohm", "Ω"], ["_mpa", "MPa"], ["_mm", "mm"],
  ["_nm", "N·m"], ["_hz", "Hz"], ["_ma", "mA"], ["_ah", "A·h"], ["_hours", "h"], ["_ms", "ms"], ["_us", "µs"], ["_px", "px"],
  ["_v", "V"], ["_a", "A"], ["_w", "W"], ["_n", "N"], ["_c", "°C"], ["_s", "s"],
]);
/** Names that read badly without their unit. @type {Record<string, string>} */
const LABELS = { no_load_rpm: "No-load speed", pwm_hz: "PWM frequency" };
const FIGURES = 5;

/** @param {string} name */
function unitOf(name) {
  return UNITS.find(([ending]) => name.endsWith(ending));
}

/** @param {string} name "no_load_rpm" reads "No load" @returns {string} */
export function fieldLabel(name) {
  if (name in LABELS) return LABELS[name] ?? name;
  const ending = unitOf(name)?.[0] ?? "";
  const stem = ending.startsWith("_") ? name.slice(0, -ending.length) : name;
  const words = (stem || name).replaceAll("_", " ");
  return words.charAt(0).toUpperCase() + words.slice(1);
}

/** @param {string} name @param {unknown} value @returns {string} */
export function fieldValue(name, value) {
  if (typeof value === "boolean") return value ? "yes" : "no";
  if (typeof value !== "number") return String(value);
  const figure = Number.isInteger(value) ? String(value) : String(Number(value.toPrecision(FIGURES)));
  const unit = unitOf(name)?.[1];
  return `${figure.replace("-", "\u2212")}${unit ? `\u202f${unit}` : ""}`;
}
