// @ts-check
import { html } from "../../../lib/dom.js";
import { toothStress } from "./tooth-stress.js";
import { torqueSpeed } from "./torque-speed.js";
import { trainSide } from "./train-side.js";
import { warming } from "./warming.js";

/**
 * A drawing for a width in px; `em` is the height of its letters. What it shows is said in words under it; null: nothing to draw.
 * @callback Draw
 * @param {{figures: any, doc: import("../paths.js").Doc, width: number, em: number}} what
 * @returns {{pictures: Element[], words: string}|null}
 */

/** By the heading of the figures they belong to. @type {Record<string, Draw>} */
export const DRAWINGS = { "Speed and torque": torqueSpeed, Train: trainSide, "Each mesh": toothStress, Heat: warming };
const LETTER_REM = 0.75;

/** The drawings of the figures, each in its group; drawn only where the group is open, and one in a frame. */
export class Drawings {
  /** @param {import("../figure-list.js").FigureList} list @param {AbortSignal} signal */
  constructor(list, signal) {
    this.signal = signal;
    /** @type {{figures: any, doc: import("../paths.js").Doc}|null} */
    this.what = null;
    /** @type {Map<Element, Draw>} */
    this.places = new Map(Object.entries(DRAWINGS).map(([title, draw]) => [list.group(title).drawing, draw]));
    /** @type {Map<Element, number>} */
    this.widths = new Map();
    /** @type {Set<Element>} those whose drawing is out of date */
    this.old = new Set();
    const size = new ResizeObserver((entries) => {
      const changed = entries.filter(({ target, contentRect }) => Math.round(contentRect.width) !== this.widths.get(target));
      for (const { target, contentRect } of changed) this.widths.set(target, Math.round(contentRect.width));
      this.ask(changed.map(({ target }) => target));
    });
    for (const place of this.places.keys()) size.observe(place);
    signal.addEventListener("abort", () => size.disconnect());
  }

  /** @param {any} figures @param {import("../paths.js").Doc} doc the sheet they are of */
  show(figures, doc) {
    this.what = { figures, doc };
    this.ask([...this.places.keys()]);
  }

  /** @param {Element[]} places */
  ask(places) {
    const waiting = this.old.size > 0;
    for (const place of places) this.old.add(place);
    if (!waiting && this.old.size) requestAnimationFrame(() => this.next());
  }

  next() {
    const place = [...this.old].find((each) => this.widths.get(each));
    if (!place || this.signal.aborted) return this.old.clear();
    this.old.delete(place);
    this.drawOne(place);
    if (this.old.size) requestAnimationFrame(() => this.next());
  }

  /** @param {Element} place */
  drawOne(place) {
    const draw = this.places.get(place);
    const width = this.widths.get(place) ?? 0;
    if (!this.what || !draw) return;
    const em = LETTER_REM * parseFloat(getComputedStyle(document.documentElement).fontSize);
    const figure = sketch(draw, { ...this.what, width, em });
    place.replaceChildren(...(figure ? [figure] : []));
  }
}

/** A drawing with its words under it. @param {Draw} draw @param {Parameters<Draw>[0]} what @returns {HTMLElement|null} */
export function sketch(draw, what) {
  const made = draw(what);
  if (!made) return null;
  for (const picture of made.pictures) if (picture.getAttribute("role") === "img") picture.setAttribute("aria-label", made.words);
  return html("figure", { class: "sketch" }, ...made.pictures, html("figcaption", { class: "hint" }, made.words));
}
