// @ts-check
/** A field's name ends with its unit; the longest ending that fits is the one. */
const UNITS = /** @type {const} */ ([
  ["seconds_per_60_deg", "s"], ["seconds_to_limit", "s"],
  ["_nm_per_deg", "N·m/°"], ["_nm_per_a", "N·m/A"], ["_us_per_deg", "µs/°"], ["us_per_deg", "µs/°"], ["_k_per_w", "K/W"],
  ["_kg_m2", "kg·m²"], ["_deg_s3", "°/s³"], ["_deg_s2", "°/s²"], ["_deg_s", "°/s"], ["_m_s", "m/s"],
  ["deg_per_count", "°"], ["_deg", "°"], ["_rpm", "1/min"], ["_ohm", "Ω"], ["_mpa", "MPa"], ["_mm", "mm"],
  ["_nm", "N·m"], ["_hz", "Hz"], ["_ma", "mA"], ["_mw", "mW"], ["_ah", "A·h"], ["_hours", "h"], ["_ms", "ms"], ["_us", "µs"], ["_px", "px"],
  ["_v", "V"], ["_a", "A"], ["_w", "W"], ["_n", "N"], ["_f", "F"], ["_c", "°C"], ["_s", "s"],
]);
/** Names that read badly without their unit. @type {Record<string, string>} */
const LABELS = {
  no_load_rpm: "No-load speed", pwm_hz: "PWM frequency", pwm_a: "PWM A", pwm_b: "PWM B", deg_per_count: "Angle of one count",
  us_per_deg: "Width for a degree", kt_nm_per_a: "Torque for an ampere", disc_a: "Disc sensor A", disc_b: "Disc sensor B",
  sda: "Data line", scl: "Clock line", tx: "Serial out", rx: "Serial in", accel_deg_s2: "Acceleration",
  seconds_per_60_deg: "Time for 60°", rated_hours: "Rated hours", working_hours: "Working hours", standby_hours: "Standby hours",
  thermal_k_per_w: "Thermal resistance", stiffness_nm_per_deg: "Stiffness", max_power_rpm: "Speed at max power", best_rpm: "Best speed",
  for_ever_c: "After a long time",
};
/** Names whose ending only looks like a unit. */
const UNITLESS = /^(disc_a|pwm_a)$/;
const FIGURES = 5;

/** @param {string} name */
function unitOf(name) {
  if (UNITLESS.test(name)) return undefined;
  return UNITS.find(([ending]) => name.endsWith(ending));
}

/** @param {string} name @returns {string} */
export function fieldUnit(name) {
  return unitOf(name)?.[1] ?? "";
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
  const space = unit && unit !== "°" ? "\u202f" : "";
  return `${figure.replace("-", "\u2212")}${space}${unit ?? ""}`;
}

/** Where in the sheet or its figures: "mesh[0].face_mm" reads "Mesh 1, face". @param {string} place @returns {string} */
export function placeLabel(place) {
  return place.split(".").map((step, i) => {
    const [name = "", index] = step.split("[");
    const plain = name === "meshes" ? "Mesh" : fieldLabel(name);
    const label = index === "]" ? `Each ${plain.toLowerCase()}` : index ? `${plain} ${parseInt(index, 10) + 1}` : plain;
    return i && label.slice(0, 2) !== label.slice(0, 2).toUpperCase() ? label.charAt(0).toLowerCase() + label.slice(1) : label;
  }).join(", ");
}
