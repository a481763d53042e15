// @ts-check
import { inPlainWords, nameOfPointer, pathOf } from "./paths.js";
import { MeshSection } from "./meshes.js";
import { Section } from "./section.js";
import { tablesOf } from "./schema.js";

/** The sheet as a form: one part for each table, in the sheet's order. */
export class Form {
  /** @param {HTMLElement} host @param {any} schema @param {import("./draft.js").Draft} draft */
  constructor(host, schema, draft) {
    const { tables, meshes } = tablesOf(schema);
    this.draft = draft;
    this.sections = tables.map((table) => (table.name === "mesh" ? new MeshSection(table, meshes, draft) : new Section(table, draft)));
    host.replaceChildren(...this.sections.map((section) => section.element));
  }

  /** @param {import("../../lib/api.js").Mistake[]} mistakes */
  show(mistakes) {
    const { doc, saved, changes } = this.draft;
    const shown = { doc, saved, changed: new Set(changes.map((change) => change.name)), mistakes: placed(mistakes) };
    for (const section of this.sections) section.show(shown);
  }

  /** Opens the part that a place is in and goes there. @param {string} name */
  goTo(name) {
    const first = pathOf(name)[0];
    const section = this.sections.find((each) => each.table.name === first) ?? this.sections.find((each) => each.within([name]).length);
    if (!section) return;
    section.element.open = true;
    section.fill();
    const row = section.rows.find((each) => each.name === name);
    (row ? row.input : section.element.querySelector("summary"))?.focus();
  }
}

/** What is wrong by its place; the text without the place before it.
 * @param {import("../../lib/api.js").Mistake[]} mistakes @returns {Map<string, string>} */
export function placed(mistakes) {
  return new Map(mistakes.map(({ detail, pointer }) => {
    const name = nameOfPointer(pointer);
    const text = name && detail.startsWith(`${name}: `) ? detail.slice(name.length + 2) : detail;
    return [name, inPlainWords(text.charAt(0).toUpperCase() + text.slice(1))];
  }));
}
