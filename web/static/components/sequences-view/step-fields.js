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

/** @param {string[]} names @returns {[string, string][]} */
export function asOptions(names) {
  return names.map((name) => [name, name]);
}

/** What to do instead, in the words of `otherwise` and `on_fault`. @param {string} rest what is skipped @param {string[]} names of other sequences */
export function otherwiseSelect(rest, names) {
  const others = names.map((name) => /** @type {[string, string]} */ ([`run ${name}`, `run ${name} instead`]));
  return select([["stop", "stop the run"], ["skip", `skip ${rest}`], ...others]);
}

/** @param {string} value of the control */
export function otherwiseOf(value) {
  return value.startsWith("run ") ? { run: value.slice(4) } : value;
}

/** @param {string|{run: string}|undefined} value in the document */
export function otherwiseWords(value) {
  return typeof value === "object" ? `run ${value.run}` : value ?? "stop";
}

/** @param {import("./kinds.js").Step} step @param {import("./kinds.js").NumberField} field */
function isGiven(step, { key, pair }) {
  return step[key] !== undefined && Array.isArray(step[key]) === Boolean(pair);
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
    for (const field of kind?.fields ?? []) this.number(field, [field.key]);
    if (kind?.more) this.more(kind.more);
    if (this.step.do === "run") this.names("sequence", "Sequence", []);
    if (this.step.do === "check") this.otherwise();
    if (known.servos().length > 1) this.servo();
  }

  get step() {
    return valueAt(this.draft.doc, this.path) ?? {};
  }

  /** @param {import("./kinds.js").NumberField} field @param {Path} place in the step @param {HTMLElement} [host] */
  number(field, place, host = this.element) {
    const input = html("input", { inputmode: "decimal", autocomplete: "off", ...(field.optional ? { placeholder: field.empty ?? "as the sheet" } : {}) });
    input.addEventListener("input", () => {
      const number = readNumber(input.value);
      const empty = input.value.trim() === "";
      this.draft.edit([...this.path, ...place], empty && field.optional ? undefined : (number ?? input.value));
    });
    this.show(input, () => valueAt(this.step, place));
    host.append(labelled(field.label, input, field.unit));
  }

  /** What few need: shut, unless something of it is given. @param {import("./kinds.js").NumberField[]} fields */
  more(fields) {
    const inner = html("div", { class: "step-fields" });
    const details = html("details", { class: "more" }, html("summary", {}, "More limits of this step"), inner);
    details.open = fields.some(({ key }) => this.step[key] !== undefined);
    for (const field of fields) this.number(field, [field.key], inner);
    this.element.append(details);
  }

  /** @param {import("./kinds.js").NumberField[]} fields exactly one of them is given */
  choice(fields) {
    const chosen = fields.find((field) => isGiven(this.step, field)) ?? fields[0];
    if (!chosen) return;
    const which = select(fields.map((field, at) => [String(at), field.label]));
    which.value = String(fields.indexOf(chosen));
    which.addEventListener("change", () => {
      const field = fields[Number(which.value)];
      if (!field) return;
      const { [chosen.key]: value, ...rest } = this.step;
      const number = typeof value === "number" ? value : 1;
      this.replace({ ...rest, [field.key]: field.pair ? [0, number] : number });
    });
    this.element.append(labelled("Goal", which));
    const { key, unit, label, pair = [label] } = chosen;
    pair.forEach((words, at) => this.number({ key, unit, label: words }, chosen.pair ? [key, at] : [key]));
  }

  /** @param {string} key @param {string} words @param {[string, string][]} first */
  names(key, words, first) {
    const control = select([...first, ["", "choose"], ...asOptions(this.known.names())]);
    control.addEventListener("change", () => this.draft.edit([...this.path, key], control.value));
    this.show(control, () => this.step[key]);
    this.element.append(labelled(words, control));
  }

  otherwise() {
    const control = otherwiseSelect("the rest of this list", this.known.names());
    control.addEventListener("change", () => this.draft.edit([...this.path, "otherwise"], otherwiseOf(control.value)));
    this.show(control, () => otherwiseWords(this.step.otherwise));
    this.element.append(labelled("If it does not hold", control));
  }

  servo() {
    const control = select([["", "the sequence's servo"], ...asOptions(this.known.servos())]);
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
