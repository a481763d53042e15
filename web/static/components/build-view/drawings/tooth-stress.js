// @ts-check
import { html, svg } from "../../../lib/dom.js";
import { fieldValue } from "../fields.js";

const BAR_PX = 12;
const HEIGHT_PX = 3 * BAR_PX;

/** @typedef {{root_stress_mpa: number|null, overload_stress_mpa: number|null, allowable_mpa: number|null, no_strength: string|null}} Mesh */

/** Bending stress at the teeth's roots, at a stall and at the overload torque, with the allowable as a stop.
 * @type {import("./drawings.js").Draw} */
export function toothStress({ figures, width }) {
  /** @type {Mesh[]} */
  const meshes = figures.meshes;
  const most = 1.05 * Math.max(1, ...meshes.flatMap((mesh) => [mesh.root_stress_mpa ?? 0, mesh.overload_stress_mpa ?? 0, mesh.allowable_mpa ?? 0]));
  const rows = meshes.map((mesh, i) => (
    html("div", { class: "stress" }, html("p", {}, wordsOf(mesh, i)), ...(mesh.no_strength || mesh.root_stress_mpa === null ? [] : [bars(mesh, width, width / most)]))
  ));
  return { pictures: rows, words: "Hatched: at a stall. Filled: at the overload torque, running. Thick stroke: what you allow." };
}

/** @param {Mesh} mesh @param {number} i */
function wordsOf(mesh, i) {
  if (mesh.no_strength) return `Mesh ${i + 1}: no strength is claimed: ${mesh.no_strength}.`;
  const parts = [`at a stall ${mpa(mesh.root_stress_mpa)}`, `at overload ${mpa(mesh.overload_stress_mpa)}`];
  const over = [mesh.overload_stress_mpa, mesh.root_stress_mpa].map((stress) => (stress ?? 0) > (mesh.allowable_mpa ?? Infinity));
  const verdict = over[0] ? " Too much at overload already." : over[1] ? " Too much at a stall." : "";
  return `Mesh ${i + 1}: ${parts.join(", ")}, allowed ${mpa(mesh.allowable_mpa)}.${verdict}`;
}

/** @param {Mesh} mesh @param {number} width @param {number} scale px for a MPa */
function bars(mesh, width, scale) {
  const bar = (/** @type {number|null} */ stress, /** @type {number} */ y, /** @type {string} */ kind) => (
    svg("rect", { class: kind, x: 0, y, width: ((stress ?? 0) * scale).toFixed(1), height: BAR_PX }));
  const picture = svg("svg", { viewBox: `0 0 ${width} ${HEIGHT_PX}`, height: HEIGHT_PX, "aria-hidden": "true" },
    bar(mesh.root_stress_mpa, BAR_PX / 2, "outside"), bar(mesh.overload_stress_mpa, 1.5 * BAR_PX, "filled"),
    svg("path", { class: "tick", d: `M 0.5 0 V ${HEIGHT_PX}` }));
  if (mesh.allowable_mpa !== null) picture.append(svg("path", { class: "line stop", d: `M ${(mesh.allowable_mpa * scale).toFixed(1)} 0 V ${HEIGHT_PX}` }));
  return picture;
}

/** @param {number|null} value */
const mpa = (value) => (value === null ? "not known" : fieldValue("_mpa", Number(value.toPrecision(3))));
