// @ts-check
import { svg } from "../../../lib/dom.js";
import { fieldValue } from "../fields.js";
import { Plot } from "./plot.js";

/** @typedef {import("./drawings.js").Draw} Draw */

/** The motor's line at the output, the working point on its way, and what stops or breaks it.
 * @type {Draw} */
export function torqueSpeed({ figures, doc, width, em }) {
  const { curve, working_point: working, output_stall_torque_nm: stall, no_load_output_deg_s: fastest } = figures;
  const set = doc.overload?.torque_nm;
  const overload = set ?? figures.suggested_overload_nm;
  const bears = figures.weakest_mesh === null ? null : figures.meshes[figures.weakest_mesh].limit_torque_nm;
  const overloadWords = `overload ${nm(overload)}${set === undefined ? ", suggested" : ""}`;
  const bearsWords = bears === null ? "" : `mesh ${figures.weakest_mesh + 1} bears ${nm(bears)}`;

  const most = 1.1 * Math.max(stall, working.torque_nm);
  const plot = new Plot(width, em, { least: 0, most: 1.1 * Math.max(fastest, working.speed_deg_s), unit: "°/s" }, { least: 0, most, unit: "N·m" });
  plot.line(curve.map((/** @type {any} */ point) => [point.speed_deg_s, point.torque_nm]), "thick");
  plot.levels([
    { value: overload, words: overloadWords, kind: "chain" },
    ...(bears === null ? [] : [{ value: bears, words: bearsWords, kind: "dashes" }]),
  ]);
  const x = plot.x(working.speed_deg_s);
  const y = plot.y(working.torque_nm);
  plot.svg.append(
    svg("path", { class: "tick", d: `M ${x - 9} ${y} h 18 M ${x} ${y - 9} v 18` }), svg("circle", { class: "line thin body", cx: x, cy: y, r: 5 }),
    plot.text(x - em, y - 1.1 * em, "working point", x > (plot.left + plot.right) / 2 ? "end" : "start"));
  const words = `From ${nm(stall)} at a stall to ${degS(fastest)} with no load. Working point: ${degS(working.speed_deg_s)} against ${nm(working.torque_nm)}`
    + `${working.reachable ? "" : ", out of reach"}. Chain line: ${overloadWords}. ${bears === null ? "" : `Dashed line: ${bearsWords}.`}`;
  return { pictures: [plot.svg], words };
}

/** @param {number} value */
const nm = (value) => fieldValue("_nm", Number(value.toPrecision(3)));
/** @param {number} value */
const degS = (value) => fieldValue("_deg_s", Number(value.toPrecision(3)));
