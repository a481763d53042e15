// @ts-check
import { angle } from "../../lib/format.js";
import { html, need, setEnabled, setHidden, setText } from "../../lib/dom.js";
import { readStored, writeStored } from "../../lib/preferences.js";
import { report } from "../../lib/report.js";

const UNDO_FOR_MS = 10_000;

/** @typedef {{name: string, deg: number}} Favourite */

/** Angles with names of the owner's own, kept in this browser.
 * @type {import("../../lib/page.js").Mount} */
export function mountFavourites(host, page, signal) {
  const { store, commands, painter } = page;
  const key = `geartender-favourites-${page.servo}`;
  const list = need(host, "[data-favourite-list]");
  const form = /** @type {HTMLFormElement} */ (need(host, "[data-favourite-form]"));
  const field = /** @type {HTMLInputElement} */ (need(host, "[data-favourite-name]"));
  const undo = need(host, "[data-favourite-undo]");
  /** @type {Favourite[]} */
  let favourites = readStored(key, []);
  /** @type {Favourite[]} */
  let before = favourites;
  let deg = 0;
  let timer = 0;

  /** @param {Favourite[]} next */
  const keep = (next) => {
    before = favourites;
    favourites = next;
    writeStored(key, favourites);
    list.replaceChildren(...favourites.map(chip));
    painter.ask();
  };
  /** @param {Favourite} favourite */
  const chip = (favourite) => {
    const words = `${favourite.name} ${angle(favourite.deg, store.snapshot?.deg_per_count ?? 0.1)}`;
    const go = html("button", { type: "button", "data-go": "" }, words);
    const remove = html("button", { type: "button", "aria-label": `Remove ${favourite.name}` }, "×");
    go.addEventListener("click", () => void report(host, commands.moveTo(favourite.deg)), { signal });
    remove.addEventListener("click", () => {
      keep(favourites.filter((other) => other !== favourite));
      setText(need(undo, "[data-text]"), `Removed ${favourite.name}.`);
      setHidden(undo, false);
      clearTimeout(timer);
      timer = setTimeout(() => setHidden(undo, true), UNDO_FOR_MS);
    }, { signal });
    return html("li", {}, go, remove);
  };

  document.addEventListener("keep", (event) => {
    deg = /** @type {CustomEvent<number>} */ (event).detail;
    setHidden(form, false);
    field.value = "";
    field.focus();
  }, { signal });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    keep([...favourites, { name: field.value.trim() || "Favourite", deg }].sort((a, b) => a.deg - b.deg));
    setHidden(form, true);
  }, { signal });
  need(host, "[data-favourite-cancel]").addEventListener("click", () => setHidden(form, true), { signal });
  need(host, "[data-undo]").addEventListener("click", () => {
    keep(before);
    setHidden(undo, true);
  }, { signal });
  signal.addEventListener("abort", () => clearTimeout(timer));

  list.replaceChildren(...favourites.map(chip));
  painter.add(() => {
    const buttons = /** @type {NodeListOf<HTMLButtonElement>} */ (list.querySelectorAll("[data-go]"));
    for (const button of buttons) setEnabled(button, store.drivable);
  }, signal);
}
