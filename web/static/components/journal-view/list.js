// @ts-check
import { html } from "../../lib/dom.js";
import { dayOf, entryItem } from "./entry.js";

/** @typedef {import("./feed.js").Entry} Entry */

/** Entries in the document at once: enough for an hour of scrolling, and few enough for a cheap phone. */
const SHOWN_MAX = 600;

/** The entries in sight, newest first, with a heading for each day. */
export class List {
  /** @param {HTMLElement} host @param {() => {degPerCount: number, named: boolean}} look */
  constructor(host, look) {
    this.host = host;
    this.look = look;
    /** Newer entries were taken away below the top, to make room for older ones. */
    this.cut = false;
  }

  get empty() {
    return this.host.childElementCount === 0;
  }

  clear() {
    this.host.replaceChildren();
    this.cut = false;
  }

  /** @param {Entry[]} entries newest first */
  addOlder(entries) {
    for (const entry of entries) {
      const last = /** @type {HTMLElement|null} */ (this.host.lastElementChild);
      if (last?.dataset.day !== dayOf(entry)) this.host.append(heading(entry));
      this.host.append(this.item(entry));
    }
    while (this.host.childElementCount > SHOWN_MAX) {
      this.host.firstElementChild?.remove();
      this.cut = true;
    }
  }

  /** Puts it on top, or in the place of what it was before. @param {Entry} entry */
  addNewer(entry) {
    const before = this.host.querySelector(`[data-entry="${entry.id}"]`);
    if (before) {
      before.replaceWith(this.item(entry));
      return;
    }
    if (this.cut) return;
    const first = /** @type {HTMLElement|null} */ (this.host.firstElementChild);
    if (first?.dataset.day === dayOf(entry)) first.after(this.item(entry));
    else this.host.prepend(heading(entry), this.item(entry));
  }

  /** @param {Entry} entry */
  item(entry) {
    const { degPerCount, named } = this.look();
    const item = entryItem(entry, degPerCount, named);
    item.dataset.day = dayOf(entry);
    return item;
  }
}

/** @param {Entry} entry */
function heading(entry) {
  return html("li", { class: "day", "data-day": dayOf(entry) }, html("h2", {}, dayOf(entry)));
}
