// @ts-check
import { html, setHidden, setText } from "../../lib/dom.js";
import { fieldLabel } from "./fields.js";
import { FieldRow } from "./field.js";
import { valueAt, withValue } from "./paths.js";

/** What every part of the form shows.
 * @typedef {{doc: import("./paths.js").Doc, saved: import("./paths.js").Doc, changed: Set<string>, mistakes: Map<string, string>}} Shown */

/** One table of the sheet as a part that opens. Its fields are made when it is first opened. */
export class Section {
  /** @param {import("./schema.js").Table} table @param {import("./draft.js").Draft} draft */
  constructor(table, draft) {
    this.table = table;
    this.draft = draft;
    const names = table.fields.map((field) => field.name).join("|");
    /** What the names of this part's places look like. */
    this.own = new RegExp(table.path.length ? `^${table.name}([.[]|$)` : `^(${names})$`);
    this.note = html("span", { class: "note" });
    this.body = html("div", { class: "fields" });
    this.mistake = html("p", { class: "mistake", hidden: "" });
    this.element = /** @type {HTMLDetailsElement} */ (html("details", { class: "part", "data-table": table.name },
      html("summary", {}, html("span", {}, fieldLabel(table.name)), this.note), this.mistake, this.body));
    /** @type {FieldRow[]} */
    this.rows = [];
    this.shape = "";
    /** @type {Shown|null} */
    this.shown = null;
    this.element.addEventListener("toggle", () => this.fill());
  }

  /** @param {Shown} shown */
  show(shown) {
    this.shown = shown;
    const mistakes = this.within(shown.mistakes.keys());
    const changes = this.within(shown.changed);
    const words = [this.present(shown) ? "" : "left out", counted(mistakes.length, "mistake"), counted(changes.length, "change")];
    setText(this.note, words.filter(Boolean).join(", "));
    this.element.toggleAttribute("data-wrong", mistakes.length > 0);
    this.fill();
  }

  /** @param {Iterable<string>} names */
  within(names) {
    return [...names].filter((name) => this.own.test(name));
  }

  fill() {
    const { shown } = this;
    if (!shown || !this.element.open) return;
    const shape = this.shapeOf(shown);
    if (shape !== this.shape) {
      this.shape = shape;
      this.rows = [];
      this.body.replaceChildren(...this.build(shown));
    }
    for (const row of this.rows) {
      row.show(valueAt(shown.doc, row.path), valueAt(shown.saved, row.path), shown.mistakes.get(row.name));
    }
    const shownBelow = new Set(this.rows.map((row) => row.name));
    const rest = this.within(shown.mistakes.keys()).filter((name) => !shownBelow.has(name));
    setText(this.mistake, rest.map((name) => shown.mistakes.get(name)).join(" "));
    setHidden(this.mistake, !rest.length);
  }

  /** @param {Shown} shown */
  present({ doc }) {
    return this.table.required || valueAt(doc, this.table.path) !== undefined;
  }

  /** The fields are made anew when this changes. @param {Shown} shown @returns {string} */
  shapeOf(shown) {
    return this.present(shown) ? "present" : "absent";
  }

  /** @param {Shown} shown @returns {Node[]} */
  build(shown) {
    const { path, hint, name, required, fields } = this.table;
    const present = this.present(shown);
    const put = html("button", { type: "button" }, present ? `Leave ${fieldLabel(name).toLowerCase()} out` : `Add ${fieldLabel(name).toLowerCase()}`);
    put.addEventListener("click", () => {
      this.draft.replace(withValue(this.draft.doc, path, present ? undefined : {}));
      this.body.querySelector("button")?.focus();
    });
    return [html("p", { class: "hint" }, hint), ...(present ? this.rowsOf(fields, path) : []), ...(required ? [] : [html("div", { class: "row" }, put)])];
  }

  /** @param {import("./schema.js").Field[]} fields @param {import("./paths.js").Path} path */
  rowsOf(fields, path) {
    const rows = fields.map((field) => new FieldRow(field, [...path, field.name], (place, value) => this.draft.edit(place, value)));
    this.rows.push(...rows);
    return rows.map((row) => row.element);
  }
}

/** @param {number} number @param {string} thing */
const counted = (number, thing) => (number ? `${number} ${thing}${number === 1 ? "" : "s"}` : "");
