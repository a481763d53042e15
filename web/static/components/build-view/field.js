// @ts-check
import { html, setAttribute, setHidden, setText } from "../../lib/dom.js";
import { readNumber } from "../../lib/format.js";
import { fieldLabel, fieldUnit, fieldValue } from "./fields.js";
import { nameOf } from "./paths.js";

/** A text that may be longer than this gets several lines. */
const ONE_LINE = 200;
/** Names of values so small that they are written with a power of ten, which a keyboard of digits cannot. */
const WITH_EXPONENT = /_(kg_m2|f)$/;

/** One value of the sheet with its unit, its hint, its mistake and what was saved. */
export class FieldRow {
  /** @param {import("./schema.js").Field} field @param {import("./paths.js").Path} path
   * @param {(path: import("./paths.js").Path, value: unknown) => void} edit */
  constructor(field, path, edit) {
    this.field = field;
    this.path = path;
    this.name = nameOf(path);
    const id = `sheet-${this.name.replace(/[^a-z0-9]+/gi, "-")}`;
    this.input = inputOf(field, id);
    this.mistake = html("p", { class: "mistake", id: `${id}-mistake`, hidden: "" });
    this.saved = html("p", { class: "was", id: `${id}-saved`, hidden: "" });
    this.hint = html("p", { class: "hint", id: `${id}-hint` }, hintOf(field));
    const unit = html("span", { id: `${id}-unit` }, fieldUnit(field.name));
    setAttribute(this.input, "aria-describedby", `${id}-unit ${id}-mistake ${id}-saved ${id}-hint`);
    this.element = html("div", { class: "field", "data-field": this.name },
      html("label", { for: id }, fieldLabel(field.name)),
      html("span", { class: "with-unit" }, this.input, unit),
      this.mistake, this.saved, this.hint);
    this.input.addEventListener("input", () => edit(path, this.read()));
  }

  /** What is typed, as the sheet takes it; what is no number goes to the service as it is, which says so.
   * @returns {unknown} */
  read() {
    const { value } = this.input;
    if (value.trim() === "") return undefined;
    if (this.field.kind === "yes") return value === "true";
    return this.field.kind === "number" ? readNumber(value) ?? value : value;
  }

  /** @param {unknown} value @param {unknown} saved @param {string|undefined} mistake */
  show(value, saved, mistake) {
    if (this.read() !== value) this.input.value = value === undefined || value === null ? "" : String(value);
    setText(this.mistake, mistake ?? "");
    setHidden(this.mistake, !mistake);
    setHidden(this.hint, mistake?.includes(this.field.hint) ?? false);
    setAttribute(this.input, "aria-invalid", mistake ? "true" : null);
    const same = value === saved;
    setText(this.saved, same ? "" : `Saved: ${saved === undefined ? "left out" : fieldValue(this.field.name, saved)}`);
    setHidden(this.saved, same);
  }
}

/** @param {import("./schema.js").Field} field @param {string} id
 * @returns {HTMLInputElement|HTMLSelectElement|HTMLTextAreaElement} */
function inputOf(field, id) {
  const choices = field.kind === "yes" ? ["true", "false"] : field.choices;
  if (choices.length) {
    const named = field.kind === "yes" ? ["yes", "no"] : choices.map((choice) => choice.replaceAll("_", " "));
    const options = choices.map((choice, i) => html("option", { value: choice }, named[i] ?? choice));
    if (!field.required) options.unshift(html("option", { value: "" }, "left out"));
    return /** @type {HTMLSelectElement} */ (html("select", { id }, ...options));
  }
  const plain = { id, autocomplete: "off", spellcheck: "false" };
  if (field.longest > ONE_LINE && field.kind === "text") return /** @type {HTMLTextAreaElement} */ (html("textarea", { ...plain, rows: "3" }));
  const digits = field.kind === "number" && !field.signed && !WITH_EXPONENT.test(field.name);
  return /** @type {HTMLInputElement} */ (html("input", { ...plain, inputmode: digits ? "decimal" : "text" }));
}

/** @param {import("./schema.js").Field} field */
function hintOf(field) {
  if (field.otherwise === null || field.otherwise === "") return field.hint;
  return `${field.hint} Left out: ${fieldValue(field.name, field.otherwise)}.`;
}
