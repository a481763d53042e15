// @ts-check
import { html, need, setHidden } from "../../lib/dom.js";
import { clockOf, dayOf, sentence } from "./entry.js";

/** What ends a motion before its time. */
const STOPS = "kind=fault&kind=stop";

/** The newest stop or fault of this servo, at the top, with its chart one press away.
 * @param {HTMLElement} section @param {import("../../lib/page.js").Page} page @param {AbortSignal} signal */
export async function showLastStop(section, page, signal) {
  const { items } = await page.api.call("GET", `journal?limit=1&${STOPS}&servo=${encodeURIComponent(page.servo)}`);
  if (signal.aborted) return;
  const place = need(section, "[data-last-stop]");
  const [entry] = items;
  setHidden(place, !entry);
  if (!entry || place.dataset.shown === String(entry.id)) return;
  place.dataset.shown = String(entry.id);
  const story = need(place, "[data-last-stop-story]");
  story.replaceChildren(html("p", {}, sentence(entry, false)), html("p", { class: "became" }, `${dayOf(entry)}, ${clockOf(entry)}`));
  if (entry.has_trace) {
    story.append(html("button", { type: "button", "data-trace": String(entry.id), "aria-expanded": "false" }, "Show the seconds before"));
  }
}
