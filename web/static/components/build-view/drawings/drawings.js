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

/** The drawings of the figures, each in its group; drawn only where the group is open. */
export class Drawings {
  /** @param {import("../figure-list.js").FigureList} list @param {AbortSignal} signal */
  constructor(list, signal) {
    this.list = list;
    /** @type {{figures: any, doc: import("../paths.js").Doc}|null} */
    this.what = null;
    /** @type {Map<string, string>} */
    this.drawn = new Map();
    const size = new ResizeObserver(() => this.draw());
    for (const title of Object.keys(DRAWINGS)) size.observe(list.group(title).drawing);
    signal.addEventListener("abort", () => size.disconnect());
  }

  /** @param {any} figures @param {import("../paths.js").Doc} doc the sheet they are of */
  show(figures, doc) {
    this.what = { figures, doc };
    this.drawn.clear();
    this.draw();
  }

  draw() {
    for (const [title, draw] of Object.entries(DRAWINGS)) this.drawOne(title, draw);
  }

  /** @param {string} title @param {Draw} draw */
  drawOne(title, draw) {
    const { drawing: host } = this.list.group(title);
    const width = host.clientWidth;
    const em = LETTER_REM * parseFloat(getComputedStyle(document.documentElement).fontSize);
    const at = `${width} ${em}`;
    if (!this.what || !width || this.drawn.get(title) === at) return;
    this.drawn.set(title, at);
    const figure = sketch(draw, { ...this.what, width, em });
    host.hidden = !figure;
    host.replaceChildren(...(figure ? [figure] : []));
  }
}

/** A drawing with its words under it. @param {Draw} draw @param {Parameters<Draw>[0]} what @returns {HTMLElement|null} */
export function sketch(draw, what) {
  const made = draw(what);
  if (!made) return null;
  for (const picture of made.pictures) if (picture.getAttribute("role") === "img") picture.setAttribute("aria-label", made.words);
  return html("figure", { class: "sketch" }, ...made.pictures, html("figcaption", { class: "hint" }, made.words));
}
