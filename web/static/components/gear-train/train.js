// @ts-check
import { polar } from "../../lib/geometry.js";

/** Shafts step up and down by this angle, so that a long train stays short on the sheet. */
const ZIGZAG_DEG = 32;
/** Used where the sheet gives no module; the drawing then says that it is not to scale. */
const PLAIN_MODULE_MM = 1;
const PLAIN_LEAD_ANGLE_DEG = 5;

/**
 * A wheel or a worm in its place. Its angle is `turn × motor angle + phase`; lengths in mm, y downwards.
 * @typedef {object} Part
 * @property {"wheel"|"worm"} kind
 * @property {number} x
 * @property {number} y
 * @property {number} module
 * @property {number} teeth of a wheel, starts of a worm
 * @property {number} radius of the pitch circle
 * @property {number} turn
 * @property {number} phase
 * @property {number} towards where the wheel it drives lies, in degrees; 0 for a driven wheel
 */

/** Places every wheel of the sheet's meshes so that the teeth mesh.
 * @param {import("../../lib/types.js").Mesh[]} meshes @returns {{parts: Part[], toScale: boolean, words: string}} */
export function trainOf(meshes) {
  /** @type {Part[]} */
  const parts = [];
  /** @type {string[]} */
  const words = [];
  let x = 0;
  let y = 0;
  let turn = 1;
  meshes.forEach((mesh, i) => {
    const module = mesh.module_mm ?? PLAIN_MODULE_MM;
    const towards = i % 2 ? -ZIGZAG_DEG : ZIGZAG_DEG;
    const worm = mesh.kind === "worm";
    const teeth = (worm ? mesh.starts : mesh.driver_teeth) ?? 1;
    const lead = ((mesh.lead_angle_deg ?? PLAIN_LEAD_ANGLE_DEG) * Math.PI) / 180;
    const radius = worm ? (module * teeth) / Math.tan(lead) / 2 : (module * teeth) / 2;
    const driven = (module * mesh.driven_teeth) / 2;
    const [dx, dy] = polar(towards, radius + driven);
    const ratio = teeth / mesh.driven_teeth;
    words.push(`${worm ? `worm with ${teeth} start${teeth === 1 ? "" : "s"}` : teeth} to ${mesh.driven_teeth}`);
    parts.push({ kind: worm ? "worm" : "wheel", x, y, module, teeth, radius, turn, phase: 0, towards });
    x += dx;
    y += dy;
    turn *= -ratio;
    const phase = worm ? towards + 180 : towards * (1 + ratio) + 180 - 180 / mesh.driven_teeth;
    parts.push({ kind: "wheel", x, y, module, teeth: mesh.driven_teeth, radius: driven, turn, phase, towards: 0 });
  });
  return { parts, toScale: meshes.every((mesh) => typeof mesh.module_mm === "number"), words: words.join(", ") };
}

/** @param {Part[]} parts the rectangle round all of them */
export function boundsOfTrain(parts) {
  const reach = (/** @type {Part} */ part) => (part.kind === "worm" ? Math.max(part.radius, wormLength(part) / 2) : part.radius) + part.module;
  return {
    left: Math.min(...parts.map((part) => part.x - reach(part))),
    right: Math.max(...parts.map((part) => part.x + reach(part))),
    top: Math.min(...parts.map((part) => part.y - reach(part))),
    bottom: Math.max(...parts.map((part) => part.y + reach(part))),
  };
}

/** @param {Part} part */
export const wormLength = (part) => Math.PI * part.module * 6;
