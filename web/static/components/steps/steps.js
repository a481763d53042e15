// @ts-check
import { setEnabled } from "../../lib/dom.js";
import { report } from "../../lib/report.js";

/** Buttons for one count, 1° and 10° either way.
 * @type {import("../../lib/page.js").Mount} */
export function mountSteps(host, page, signal) {
  const { store, commands, painter } = page;
  const buttons = [.../** @type {NodeListOf<HTMLButtonElement>} */ (host.querySelectorAll("[data-step]"))];
  for (const button of buttons) {
    button.addEventListener("click", () => {
      const step = button.dataset.step ?? "";
      const count = store.snapshot?.deg_per_count ?? 0;
      const deg = step.endsWith("count") ? (step.startsWith("-") ? -count : count) : Number(step);
      void report(host, commands.moveBy(deg));
    }, { signal });
  }
  painter.add(() => buttons.forEach((button) => setEnabled(button, store.drivable)), signal);
}
