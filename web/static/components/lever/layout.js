// @ts-check
import { polar } from "../../lib/geometry.js";

/** How far the hatching reaches beyond an end of the travel, in degrees. */
const HATCH_DEG = 15;
/** Room round the drawing for the figures of the scale. */
const MARGIN_PX = 38;
/** Over the drawing stands a note, so less room is needed there. */
const MARGIN_TOP_PX = 26;
const HUB = 0.13;
const LEAST_RADIUS_PX = 60;

/**
 * @typedef {object} Layout
 * @property {number} width
 * @property {number} height
 * @property {number} x of the pivot
 * @property {number} y of the pivot
 * @property {number} radius of the scale, in px
 * @property {number} min
 * @property {number} max
 * @property {number} hatch
 * @property {boolean} endless
 */

/** Fits the travel into the room there is: the drawing is as large as it can be.
 * @param {import("../../lib/types.js").Travel|null} travel @param {number} width @param {number} most the greatest height @returns {Layout} */
export function layoutOf(travel, width, most) {
  const bounded = !!travel && !travel.endless && travel.min_deg !== null && travel.max_deg !== null;
  const min = bounded ? Number(travel.min_deg) : 0;
  const max = bounded ? Number(travel.max_deg) : 360;
  const hatch = bounded ? Math.max(0, Math.min(HATCH_DEG, (360 - (max - min)) / 2)) : 0;
  const box = boundsOf(min - hatch, max + hatch);
  const room = { x: width - 2 * MARGIN_PX, y: most - MARGIN_PX - MARGIN_TOP_PX };
  const radius = Math.max(LEAST_RADIUS_PX, Math.min(room.x / (box.right - box.left), room.y / (box.bottom - box.top)));
  const height = (box.bottom - box.top) * radius + MARGIN_PX + MARGIN_TOP_PX;
  return {
    width,
    height,
    x: width / 2 - ((box.left + box.right) / 2) * radius,
    y: MARGIN_TOP_PX - box.top * radius,
    radius,
    min,
    max,
    hatch,
    endless: !bounded,
  };
}

/** @param {number} from @param {number} to */
function boundsOf(from, to) {
  const box = { left: -HUB, right: HUB, top: -HUB, bottom: HUB };
  const angles = [from, to];
  for (let quarter = Math.ceil(from / 90) * 90; quarter <= to; quarter += 90) angles.push(quarter);
  for (const angle of angles) {
    const [x, y] = polar(angle, 1);
    box.left = Math.min(box.left, x);
    box.right = Math.max(box.right, x);
    box.top = Math.min(box.top, y);
    box.bottom = Math.max(box.bottom, y);
  }
  return box;
}
