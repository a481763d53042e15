// @ts-check
import { figure, quantity } from "../../lib/format.js";
import { need, setEnabled, setText } from "../../lib/dom.js";
import { report } from "../../lib/report.js";

/** While the slider is dragged the newest value goes out this often. */
const SEND_EVERY_MS = 100;
/** After a change of our own the slider does not follow older news. */
const OWN_CHANGE_MS = 800;

/** Share of the planned speed; takes effect in mid-move.
 * @type {import("../../lib/page.js").Mount} */
export function mountSpeed(host, page, signal) {
  const { store, commands, painter } = page;
  const slider = /** @type {HTMLInputElement} */ (need(host, "[data-speed-slider]"));
  const words = need(host, "[data-speed-words]");
  let timer = 0;
  let changedAt = -Infinity;

  const send = () => {
    timer = 0;
    void report(host, commands.override(Number(slider.value) / 100));
  };
  slider.addEventListener("input", () => {
    changedAt = performance.now();
    if (!timer) timer = setTimeout(send, SEND_EVERY_MS);
    painter.ask();
  }, { signal });
  signal.addEventListener("abort", () => clearTimeout(timer));

  painter.add(() => {
    const snapshot = store.snapshot;
    if (!snapshot) return;
    setEnabled(slider, store.may("drive"));
    const theirs = String(Math.round(snapshot.override * 100));
    if (performance.now() - changedAt > OWN_CHANGE_MS && slider.value !== theirs) slider.value = theirs;
    const share = Number(slider.value) / 100;
    const most = snapshot.limits && share > 0 ? `, up to ${quantity(share * snapshot.limits.speed_deg_s, "°/s", 1)}` : "";
    const shown = share === 0 ? "0 %, held where it is" : `${figure(share * 100, 0)} %${most}`;
    setText(words, shown);
    if (slider.getAttribute("aria-valuetext") !== shown) slider.setAttribute("aria-valuetext", shown);
  }, signal);
}
