// @ts-check
import { html } from "../../lib/dom.js";
import { Section } from "./section.js";
import { withValue } from "./paths.js";

/** As the schema says. */
const MOST = 32;

/** @typedef {Record<string, any>} Mesh */

/** The pairs of gears from the motor to the output: each can be added, taken out and moved. */
export class MeshSection extends Section {
  /** @param {import("./schema.js").Table} table @param {Record<string, import("./schema.js").Table>} kinds
   * @param {import("./draft.js").Draft} draft */
  constructor(table, kinds, draft) {
    super(table, draft);
    this.kinds = kinds;
  }

  /** @returns {Mesh[]} */
  get meshes() {
    return this.draft.doc.mesh ?? [];
  }

  /** @param {import("./section.js").Shown} shown */
  shapeOf({ doc }) {
    return JSON.stringify((doc.mesh ?? []).map((/** @type {Mesh} */ mesh) => mesh.kind));
  }

  /** @returns {Node[]} */
  build() {
    const add = this.button("Add a mesh", () => this.put([...this.meshes, { kind: "spur" }], this.meshes.length));
    /** @type {HTMLButtonElement} */ (add).disabled = this.meshes.length >= MOST;
    return [html("p", { class: "hint" }, this.table.hint), ...this.meshes.map((mesh, i) => this.fieldset(mesh, i)), html("div", { class: "row" }, add)];
  }

  /** @param {Mesh} mesh @param {number} i */
  fieldset(mesh, i) {
    const last = this.meshes.length - 1;
    const where = last === 0 ? "motor to output" : i === 0 ? "at the motor" : i === last ? "at the output" : "";
    const legend = html("legend", { tabindex: "-1" }, `Mesh ${i + 1}${where ? `, ${where}` : ""}`);
    const kind = html("select", { id: `mesh-kind-${i}` }, ...Object.keys(this.kinds).map((name) => html("option", { value: name }, name)));
    const choice = /** @type {HTMLSelectElement} */ (kind);
    choice.value = mesh.kind;
    choice.addEventListener("change", () => this.put(withValue(this.meshes, [i], this.converted(mesh, choice.value)), i));
    const table = this.kinds[mesh.kind];
    const fields = (table?.fields ?? []).filter((field) => field.name !== "kind");
    const buttons = html("div", { class: "row" },
      this.button("Up", () => this.move(i, i - 1), `Move mesh ${i + 1} towards the motor`, i > 0),
      this.button("Down", () => this.move(i, i + 1), `Move mesh ${i + 1} towards the output`, i < last),
      this.button("Take out", () => this.put(this.meshes.filter((_, k) => k !== i), Math.max(0, i - 1)), `Take out mesh ${i + 1}`));
    return html("fieldset", { "data-mesh": String(i) }, legend,
      html("div", { class: "field" }, html("label", { for: `mesh-kind-${i}` }, "Kind"), html("span", { class: "with-unit" }, kind)),
      ...this.rowsOf(fields, ["mesh", i]), buttons);
  }

  /** What both kinds know stays. @param {Mesh} mesh @param {string} kind */
  converted(mesh, kind) {
    const known = new Set(this.kinds[kind]?.fields.map((field) => field.name));
    return { ...Object.fromEntries(Object.entries(mesh).filter(([name]) => known.has(name))), kind };
  }

  /** @param {number} from @param {number} to */
  move(from, to) {
    const meshes = [...this.meshes];
    meshes.splice(to, 0, ...meshes.splice(from, 1));
    this.put(meshes, to);
  }

  /** @param {Mesh[]} meshes @param {number} look at this one afterwards */
  put(meshes, look) {
    this.shape = "";
    this.draft.replace({ ...this.draft.doc, mesh: meshes });
    /** @type {HTMLElement|null} */ (this.body.querySelector(`[data-mesh="${look}"] legend`))?.focus();
  }

  /** @param {string} text @param {() => void} act @param {string} [label] @param {boolean} [enabled] */
  button(text, act, label = text, enabled = true) {
    const button = html("button", { type: "button", "aria-label": label });
    button.append(text);
    /** @type {HTMLButtonElement} */ (button).disabled = !enabled;
    button.addEventListener("click", act);
    return button;
  }
}
