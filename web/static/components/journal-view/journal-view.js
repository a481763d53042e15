// @ts-check
import { html, need, setHidden } from "../../lib/dom.js";
import { timeOfDay } from "../../lib/format.js";

/** What the servo reported since the page was opened, newest first.
 * @type {import("../../lib/page.js").Mount} */
export function mountJournalView(section, page, signal) {
  const list = need(section, "[data-events]");
  /** @type {object|null} */
  let shown = null;
  const show = () => {
    const { events } = page.store;
    setHidden(need(section, "[data-events-empty]"), events.length > 0);
    if (shown === events) return;
    shown = events;
    list.replaceChildren(...events.map(entry).reverse());
  };
  page.painter.add(show, signal);
}

/** @param {{at: number|string, text: string}} event */
function entry({ at, text }) {
  const sentence = text.charAt(0).toUpperCase() + text.slice(1);
  return html("li", {}, html("time", {}, timeOfDay(at)), html("span", {}, sentence));
}
