// @ts-check
import { html, setHidden, setText } from "../../lib/dom.js";
import { reasonName } from "./groups.js";
import { whyOf } from "./why.js";

/** @typedef {import("./groups.js").Row} Row */
/** @typedef {{element: HTMLElement, label: HTMLElement, value: HTMLElement, row: Row, why: HTMLElement|null}} Line */

/** Figures under one heading. What is open stays open while the figures change. */
export class FigureGroup {
  /** @param {string} title @param {Map<string, import("./why.js").Reason>} reasons @param {() => import("./why.js").Known} known */
  constructor(title, reasons, known) {
    this.reasons = reasons;
    this.known = known;
    this.drawing = html("div", { class: "drawn" });
    this.empty = html("p", { class: "hint" });
    this.list = html("div", { class: "figures" });
    this.element = /** @type {HTMLDetailsElement} */ (html("details", { class: "part", "data-figures": title },
      html("summary", {}, html("span", {}, title)), this.drawing, this.empty, this.list));
    /** @type {Line[]} */
    this.lines = [];
  }

  /** @param {import("./groups.js").Group} group */
  show({ rows, empty }) {
    setText(this.empty, rows.length ? "" : empty);
    setHidden(this.empty, rows.length > 0);
    const same = rows.length === this.lines.length && rows.every((row, i) => row.path === this.lines[i]?.row.path);
    if (!same) this.rebuild(rows);
    this.lines.forEach((line, i) => {
      line.row = rows[i] ?? line.row;
      setText(line.value, line.row.value);
      if (line.element instanceof HTMLDetailsElement && line.element.open) this.explain(line);
    });
  }

  /** @param {Row[]} rows */
  rebuild(rows) {
    const open = new Set(this.lines.filter(({ element }) => element instanceof HTMLDetailsElement && element.open).map(({ row }) => row.path));
    this.lines = rows.map((row) => this.line(row));
    let part = "";
    this.list.replaceChildren(...this.lines.flatMap(({ element, row }) => {
      if (element instanceof HTMLDetailsElement) element.open = open.has(row.path);
      const heading = row.part && row.part !== part ? [html("h3", {}, row.part)] : [];
      part = row.part;
      return [...heading, element];
    }));
  }

  /** @param {Row} row @returns {Line} */
  line(row) {
    const label = html("span", { class: "figure-name" }, row.label);
    const value = html("span", { class: "figure-value" });
    if (!this.reasons.has(reasonName(row.path))) {
      const plain = row.path.startsWith("notes[") ? html("p", { class: "said" }, value) : html("p", { class: "figure" }, label, value);
      return { element: plain, label, value, row, why: null };
    }
    const why = html("div", { class: "why" });
    const element = html("details", { class: "figure", "data-figure": row.path }, html("summary", {}, label, value), why);
    const line = { element, label, value, row, why };
    element.addEventListener("toggle", () => this.explain(line));
    return line;
  }

  /** @param {Line} line */
  explain({ row, why }) {
    const reason = this.reasons.get(reasonName(row.path));
    if (reason && why) why.replaceChildren(...whyOf(reason, row.path, this.known()));
  }
}
