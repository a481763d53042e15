// @ts-check
import { need, setEnabled, setHidden, setText } from "../../lib/dom.js";
import { quantity } from "../../lib/format.js";
import { report } from "../../lib/report.js";

/** @param {import("../../lib/types.js").Snapshot} snapshot @returns {string} */
function words({ source, pulse_us: width, homed }) {
  const shown = quantity(width, "µs", 0);
  if (source === "pulse") {
    return width === null ? "The pulse leads, but none comes in: it waits" : `The pulse leads: ${shown}. Any command takes the lead from it.`;
  }
  return homed ? `A pulse of ${shown} comes in. If it leads, the lever goes where it says.` : `A pulse of ${shown} comes in`;
}

/** Who leads, where there is a choice: this service, or the pulse at the input.
 * @type {import("../../lib/page.js").Mount} */
export function mountLead(host, page, signal) {
  const { store, commands, painter } = page;
  const take = /** @type {HTMLButtonElement} */ (need(host, "[data-lead-take]"));
  const give = /** @type {HTMLButtonElement} */ (need(host, "[data-lead-give]"));
  take.addEventListener("click", () => void report(host, commands.lead("host")), { signal });
  give.addEventListener("click", () => void report(host, commands.lead("pulse")), { signal });

  for (const button of [take, give]) setEnabled(button, store.may("drive"));

  painter.add(() => {
    const snapshot = store.snapshot;
    const led = snapshot?.source === "pulse";
    const shown = !!snapshot && !store.stale && (led || snapshot.pulse_us !== null);
    setHidden(host, !shown);
    if (!shown) return;
    setText(need(host, "[data-lead-words]"), words(snapshot));
    setHidden(take, !led);
    setHidden(give, led || store.moving || !snapshot.homed || snapshot.state === "faulted");
  }, signal);
}
