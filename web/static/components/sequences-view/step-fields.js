// @ts-check
import { html } from "../../lib/dom.js";
import { readNumber } from "../../lib/format.js";
import { valueAt } from "../build-view/paths.js";
import { KINDS } from "./kinds.js";

/** @typedef {import("../build-view/paths.js").Path} Path */
/** @typedef {{names: () => string[], servos: () => string[]}} Known */

let count = 0;

/** A label with its control. @param {string} words @param {HTMLElement} control @param {string} [unit] */
export function labelled(words, control, unit) {
  count += 1;
  control.id = `step-${count}`;
  const label = html("label", { for: control.id }, words);
  const inner = unit ? html("div", { class: "with-unit" }, control, html("span", {}, unit)) : control;
  return html("div", { class: "field" }, label, inner);
}

/** @param {[string, string][]} options value and words */
export function select(options) {
  return html("select", {}, ...options.map(([value, words]) => html("option", { value }, words)));
}

/** The controls of one step. Each shows what the draft says, unless somebody types in it. */
export class StepFields {
  /** @param {import("../build-view/draft.js").Draft} draft @param {Path} path of the step @param {Known} known */
  constructor(draft, path, known) {
    this.draft = draft;
    this.path = path;
    this.known = known;
    this.element = html("div", { class: "step-fields" });
    /** @type {(() => void)[]} */
    this.syncs = [];
    const kind = KINDS[this.step.do];
    if (kind?.choice) this.choice(kind.choice);
    for (const field of kind?.fields ?? []) this.number(field);
    if (this.step.do === "run") this.names("sequence", "Sequence", []);
    if (this.step.do === "check") this.otherwise();
    if (known.servos().length > 1) this.servo();
  }

  get step() {
    return valueAt(this.draft.doc, this.path) ?? {};
  }

  /** @param {import("./kinds.js").NumberField} field */
  number(field) {
    const input = html("input", { inputmode: "decimal", autocomplete: "off", ...(field.optional ? { placeholder: "as the sheet" } : {}) });
    input.addEventListener("input", () => {
      const number = readNumber(input.value);
      const empty = input.value.trim() === "";
      this.draft.edit([...this.path, field.key], empty ? undefined : (number ?? input.value));
    });
    this.show(input, () => this.step[field.key]);
    this.element.append(labelled(field.label, input, field.unit));
  }

  /** @param {import("./kinds.js").NumberField[]} fields exactly one of them is given */
  choice(fields) {
    const chosen = fields.find((field) => this.step[field.key] !== undefined) ?? fields[0];
    if (!chosen) return;
    const which = select(fields.map((field) => [field.key, field.label]));
    which.value = chosen.key;
    which.addEventListener("change", () => {
      const { [chosen.key]: value, ...rest } = this.step;
      this.replace({ ...rest, [which.value]: typeof value === "number" ? value : 1 });
    });
    this.element.append(labelled("Goal", which));
    this.number({ ...chosen, label: chosen.label });
  }

  /** @param {string} key @param {string} words @param {[string, string][]} first */
  names(key, words, first) {
    const control = select([...first, ["", "choose"], ...this.known.names().map((name) => /** @type {[string, string]} */ ([name, name]))]);
    control.addEventListener("change", () => this.draft.edit([...this.path, key], control.value));
    this.show(control, () => this.step[key]);
    this.element.append(labelled(words, control));
  }

  otherwise() {
    const names = this.known.names().map((name) => /** @type {[string, string]} */ ([`run ${name}`, `run ${name}, then go on`]));
    const control = select([["stop", "stop the run"], ["skip", "skip the rest of this list"], ...names]);
    control.addEventListener("change", () => {
      const { value } = control;
      this.draft.edit([...this.path, "otherwise"], value.startsWith("run ") ? { run: value.slice(4) } : value);
    });
    this.show(control, () => (typeof this.step.otherwise === "object" ? `run ${this.step.otherwise.run}` : this.step.otherwise ?? "stop"));
    this.element.append(labelled("If it does not hold", control));
  }

  servo() {
    const control = select([["", "the sequence's servo"], ...this.known.servos().map((name) => /** @type {[string, string]} */ ([name, name]))]);
    control.addEventListener("change", () => this.draft.edit([...this.path, "servo"], control.value || undefined));
    this.show(control, () => this.step.servo ?? "");
    this.element.append(labelled("Servo", control));
  }

  /** @param {import("./kinds.js").Step} step */
  replace(step) {
    this.draft.edit(this.path, step);
  }

  /** @param {HTMLInputElement|HTMLSelectElement} control @param {() => unknown} value */
  show(control, value) {
    this.syncs.push(() => {
      const text = String(value() ?? "");
      if (document.activeElement !== control && control.value !== text) control.value = text;
    });
  }

  sync() {
    for (const each of this.syncs) each();
  }
}
