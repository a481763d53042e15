// @ts-check
import { coordinates } from "../../../lib/geometry.js";
import { svg } from "../../../lib/dom.js";
import { fieldValue } from "../fields.js";
import { boundsOf, stagesOf, widthOf } from "./side-places.js";

/** @typedef {import("./side-places.js").Stage} Stage @typedef {import("./side-places.js").Wheel} Wheel */

const HEIGHT_MOST_PX = 340;
/** Room for a dimension line with its figure, and for a word at each end, in letters' heights. */
const GAP_EM = 4.2;
const END_EM = 3.2;

/** The train from the side: wheels as rectangles on their axles, with the distances of the axles.
 * @type {import("./drawings.js").Draw} */
export function trainSide({ figures, doc, width, em }) {
  const stages = stagesOf(figures.meshes, doc.mesh);
  if (!stages) return { pictures: [], words: "Give the module of every mesh, and the train is drawn here from the side." };
  const box = boundsOf(stages);
  const gap = Math.min(GAP_EM * em, (width * 0.6) / stages.length);
  const room = width - 2 * END_EM * em - gap * stages.length;
  const scale = Math.min(Math.max(room, 1) / box.across, HEIGHT_MOST_PX / (box.bottom - box.top));
  const height = (box.bottom - box.top) * scale + 3 * em;
  const picture = svg("svg", { viewBox: `0 0 ${width} ${height.toFixed(0)}`, height: height.toFixed(0), role: "img" });
  const y = (/** @type {number} */ mm) => (mm - box.top) * scale + 1.5 * em;
  let x = (width - box.across * scale - gap * stages.length) / 2 + gap / 4;
  /** @type {Element[]} */
  const wheels = [];
  /** Each axle begins at the wheel it carries last; the lines lie over the wheels. */
  let axleFrom = x - 2 * em;
  const lines = [word(axleFrom, y(0) - em, "motor", "middle")];
  for (const stage of stages) {
    const wide = widthOf(stage) * scale;
    const middle = x + wide / 2;
    wheels.push(wheel(stage.driver, stage, middle, y, scale), wheel(stage.driven, stage, middle, y, scale));
    lines.push(axle(axleFrom, x + wide + em / 2, y(stage.driver.y)));
    if (gap >= 2 * em) lines.push(...dimension(x + wide + 0.8 * em, y(stage.driver.y), y(stage.driven.y), stage.distance, em));
    axleFrom = x - em / 2;
    x += wide + gap;
  }
  const end = y(stages.at(-1)?.driven.y ?? 0);
  lines.push(axle(axleFrom, x - gap + 3 * em, end), word(Math.min(x - gap + 3 * em, width - 2.2 * em), end - em, "output", "middle"));
  picture.append(...wheels, ...lines);
  return { pictures: [picture], words: wordsOf(stages, doc.mesh) };
}

/** @param {Wheel} wheel @param {Stage} stage @param {number} middle @param {(mm: number) => number} y @param {number} scale */
function wheel({ y: at, height, round }, { face, faceGiven }, middle, y, scale) {
  if (round) return svg("circle", { class: "edge body", cx: middle.toFixed(1), cy: y(at).toFixed(1), r: ((height / 2) * scale).toFixed(1) });
  const wide = face * scale;
  return svg("rect", {
    class: faceGiven ? "edge body" : "edge body assumed", x: (middle - wide / 2).toFixed(1), y: y(at - height / 2).toFixed(1), width: wide.toFixed(1), height: (height * scale).toFixed(1),
  });
}

/** @param {number} from @param {number} to @param {number} y @returns {Element} */
const axle = (from, to, y) => svg("path", { class: "centre-line", d: `M ${coordinates(from, y)} H ${to.toFixed(1)}` });

/** @param {number} x @param {number} y @param {string} words @param {"start"|"middle"} anchor @returns {Element} */
const word = (x, y, words, anchor) => svg("text", { x: x.toFixed(1), y: y.toFixed(1), "data-anchor": anchor }, words);

/** @param {number} x @param {number} from @param {number} to @param {number} distance mm @param {number} em */
function dimension(x, from, to, distance, em) {
  const line = svg("path", { class: "dimension", "data-both": "", d: `M ${coordinates(x, from)} V ${to.toFixed(1)}` });
  return [line, word(x + em / 3, (from + to) / 2, fieldValue("", Number(distance.toPrecision(4))), "start")];
}

/** @param {Stage[]} stages @param {any[]} sheet */
function wordsOf(stages, sheet) {
  const teeth = sheet.map((mesh) => `${mesh.kind === "worm" ? `worm with ${mesh.starts}` : mesh.driver_teeth} to ${mesh.driven_teeth}`).join(", ");
  const distances = stages.map(({ distance }) => fieldValue("", Number(distance.toPrecision(4)))).join(", ");
  const assumed = stages.every(({ faceGiven }) => faceGiven) ? "" : " A dashed wheel's face is not given.";
  return `From the side, laid out in one plane; diameters and faces to scale. Teeth: ${teeth}. Distances of the axles in mm: ${distances}.${assumed}`;
}
