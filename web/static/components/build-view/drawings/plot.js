// @ts-check
import { coordinates } from "../../../lib/geometry.js";
import { svg } from "../../../lib/dom.js";
import { fieldValue } from "../fields.js";

/** @typedef {{least: number, most: number, unit: string}} Axis */
/** @typedef {[number, number]} Point */
/** @typedef {{value: number, words: string, kind: string}} Level */

const HEIGHT_SHARE = 0.62;
const HEIGHT_MOST_PX = 300;
const INTERVALS = 4;

/** Two axes with their figures; lengths in px, `em` is the height of the letters. */
export class Plot {
  /** @param {number} width @param {number} em @param {Axis} across @param {Axis} up */
  constructor(width, em, across, up) {
    this.em = em;
    this.across = across;
    this.up = up;
    this.left = 3.2 * em;
    this.right = width - em;
    this.top = 2 * em;
    this.height = Math.max(14 * em, Math.min(HEIGHT_MOST_PX, width * HEIGHT_SHARE));
    this.bottom = this.height - 2.4 * em;
    this.clip = `plot-${[across.unit, up.unit, width.toFixed(0)].join("-").replace(/[^\w-]/g, "")}`;
    const frame = { x: this.left, y: this.top, width: Math.max(1, this.right - this.left), height: this.bottom - this.top };
    this.svg = svg("svg", { viewBox: `0 0 ${width} ${this.height.toFixed(0)}`, height: this.height.toFixed(0), role: "img" },
      svg("clipPath", { id: this.clip }, svg("rect", frame)), ...this.axes());
  }

  /** @param {number} value */
  x(value) {
    return this.left + ((value - this.across.least) / (this.across.most - this.across.least)) * (this.right - this.left);
  }

  /** @param {number} value */
  y(value) {
    return this.bottom - ((value - this.up.least) / (this.up.most - this.up.least)) * (this.bottom - this.top);
  }

  axes() {
    const base = svg("path", { class: "scale-arc", d: `M ${coordinates(this.left, this.top)} V ${this.bottom.toFixed(1)} H ${this.right.toFixed(1)}` });
    const across = stepsOf(this.across).map((value) => this.text(this.x(value), this.bottom + this.em, plain(value)));
    const up = stepsOf(this.up).map((value) => this.text(this.left - this.em / 2, this.y(value), plain(value), "end"));
    const ticks = [
      ...stepsOf(this.across).map((value) => `M ${coordinates(this.x(value), this.bottom)} v -5`),
      ...stepsOf(this.up).map((value) => `M ${coordinates(this.left, this.y(value))} h 5`),
    ];
    return [base, svg("path", { class: "tick", d: ticks.join(" ") }), ...across, ...up,
      this.text(this.left, this.em, this.up.unit, "start"), this.text(this.right, this.bottom + 2 * this.em, this.across.unit, "end")];
  }

  /** @param {number} x @param {number} y @param {string} words @param {"start"|"middle"|"end"} [anchor] */
  text(x, y, words, anchor = "middle") {
    return svg("text", { x: x.toFixed(1), y: y.toFixed(1), "data-anchor": anchor }, words);
  }

  /** @param {Point[]} points @param {string} kind */
  line(points, kind) {
    const d = points.map(([x, y], i) => `${i ? "L" : "M"} ${coordinates(this.x(x), this.y(y))}`).join(" ");
    this.svg.append(svg("path", { class: `line ${kind}`, d, "clip-path": `url(#${this.clip})` }));
  }

  /** Lines across with their words over the right end; of several the lowest has them under it. @param {Level[]} levels */
  levels(levels) {
    const shown = levels.filter((level) => level.value <= this.up.most).sort((a, b) => a.value - b.value);
    for (const { value, kind } of shown) {
      this.svg.append(svg("path", { class: `line ${kind}`, d: `M ${coordinates(this.left, this.y(value))} H ${this.right.toFixed(1)}` }));
    }
    shown.forEach(({ value, words }, i) => {
      const under = i === 0 && shown.length > 1 && this.y(value) + 2 * this.em < this.bottom;
      this.svg.append(this.text(this.right, this.y(value) + (under ? 0.9 : -0.8) * this.em, words, "end"));
    });
  }
}

/** @param {Axis} axis @returns {number[]} about four values in round steps */
function stepsOf({ least, most }) {
  const rough = (most - least) / INTERVALS;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = power * ([1, 2, 5].find((digit) => digit * power >= rough) ?? 10);
  const first = Math.ceil(least / step);
  return Array.from({ length: Math.floor(most / step + 1e-9) - first + 1 }, (_, i) => (first + i) * step);
}

/** @param {number} value */
const plain = (value) => fieldValue("", Number(value.toPrecision(3)));
