// @ts-check
import { duration } from "../../lib/format.js";
import { need, setHidden, setText } from "../../lib/dom.js";

const LOOK_EVERY_MS = 100;

/** Turns the page grey when there is no news, and says how old the last news is.
 * @type {import("../../lib/page.js").Mount} */
export function mountStale(host, page, signal) {
  const { store, painter } = page;
  const root = document.documentElement;
  const age = need(host, "[data-age]");
  let wasStale = false;
  const timer = setInterval(() => {
    if (store.stale || wasStale) painter.ask();
  }, LOOK_EVERY_MS);
  signal.addEventListener("abort", () => clearInterval(timer));
  painter.add(() => {
    wasStale = store.stale;
    if (root.hasAttribute("data-stale") !== wasStale) root.toggleAttribute("data-stale", wasStale);
    setHidden(age, !wasStale || !store.snapshot);
    if (wasStale) setText(age, `Last news ${duration(store.ageMs / 1000)} ago`);
  }, signal);
}
