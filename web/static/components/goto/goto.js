// @ts-check
import { angleDigits, figure, readNumber } from "../../lib/format.js";
import { need, setAttribute, setEnabled, setText } from "../../lib/dom.js";
import { report } from "../../lib/report.js";

/** A field for a number; what is typed can also be kept as a favourite.
 * @type {import("../../lib/page.js").Mount} */
export function mountGoto(host, page, signal) {
  const { store, commands, painter } = page;
  const field = /** @type {HTMLInputElement} */ (need(host, "[data-goto-angle]"));
  const go = /** @type {HTMLButtonElement} */ (need(host, "[data-goto-go]"));
  const keep = /** @type {HTMLButtonElement} */ (need(host, "[data-favourite-keep]"));

  const read = () => {
    const deg = readNumber(field.value);
    if (deg === null) throw new Error("Type an angle in degrees, for example 12.5.");
    if (commands.within(deg) !== deg) throw new Error(`${figure(deg, 1)}° is outside the travel. ${range()}`);
    return deg;
  };
  const range = () => {
    const travel = store.snapshot?.travel;
    if (!travel || travel.endless) return "Any angle: the travel is endless.";
    return `From ${figure(travel.min_deg ?? 0, 1)}° to ${figure(travel.max_deg ?? 0, 1)}°.`;
  };
  /** @param {(deg: number) => unknown} then */
  const withAngle = (then) => void report(host, (async () => then(read()))());

  host.addEventListener("submit", (event) => {
    event.preventDefault();
    withAngle((deg) => commands.moveTo(deg));
  }, { signal });
  keep.addEventListener("click", () => {
    const here = store.snapshot;
    if (!field.value && here?.angle_deg != null) field.value = figure(here.angle_deg, angleDigits(here.deg_per_count));
    withAngle((deg) => host.dispatchEvent(new CustomEvent("keep", { detail: deg, bubbles: true })));
  }, { signal });

  painter.add(() => {
    setText(need(host, "[data-goto-range]"), range());
    setAttribute(field, "inputmode", (store.snapshot?.travel?.min_deg ?? 0) < 0 ? "text" : "decimal");
    setEnabled(go, store.drivable);
    setEnabled(keep, !!store.snapshot?.homed);
  }, signal);
}
