// @ts-check
import { angle } from "../../lib/format.js";
import { arc, polar } from "../../lib/geometry.js";
import { setAttribute, setHidden, setText, svg } from "../../lib/dom.js";

/** A narrower angle has no room for its figure between the arrowheads. */
const ROOM_DEG = 56;
/** Half the arm and half a figure. */
const ARM_SHARE = 0.075;
const FIGURE_PX = 24;
/** Far enough out that the figure clears the arm. */
const FIGURE_SHARE = 0.68;
/** Clear of the ring at the tip of the dashed lever. */
const PAST_RING_DEG = 17;
/** Nearer than this the dashed lever needs no figure of its own. */
const APART_DEG = 7;

/** The angle of the lever on its dimension line, and the target beside its tip.
 * @param {SVGGElement} group @param {import("./layout.js").Layout} layout
 * @param {import("../../lib/types.js").Snapshot} snapshot @param {number} target */
export function dimension(group, layout, snapshot, target) {
  if (!group.firstChild) {
    group.append(svg("path", { class: "dimension" }), svg("text", { class: "reading" }), svg("text", { class: "going" }));
  }
  const [line, reading, going] = /** @type {[SVGPathElement, SVGTextElement, SVGTextElement]} */ ([...group.children]);
  const known = snapshot.angle_deg !== null;
  const now = snapshot.angle_deg ?? 0;
  const from = layout.endless || (layout.min <= 0 && layout.max >= 0) ? 0 : layout.min;
  const span = layout.endless ? now % 360 : now - from;
  const radius = layout.radius * 0.5;
  const wide = Math.abs(span) >= ROOM_DEG;
  setAttribute(line, "d", !known || Math.abs(span) < 0.5 ? "" : arc(from, from + span, radius));
  line.toggleAttribute("data-both", Math.abs(span) > 8);
  const side = span < 0 ? -1 : 1;
  const [x, y] = wide ? polar(from + span / 2, layout.radius * FIGURE_SHARE) : beside(from, -side, layout.radius);
  place(reading, x, y, snapshot.angle_deg === null ? "" : angle(snapshot.angle_deg, snapshot.deg_per_count));

  const gap = target - now;
  setHidden(going, !known || Math.abs(gap) < APART_DEG);
  const [tx, ty] = polar(target + Math.sign(gap) * PAST_RING_DEG, layout.radius * 0.82);
  place(going, tx, ty, angle(target, snapshot.deg_per_count));
}

/** The other side of the line the angle is measured from, clear of the arm.
 * @param {number} from @param {number} side @param {number} radius @returns {[number, number]} */
function beside(from, side, radius) {
  const [x, y] = polar(from, radius * 0.5);
  const [dx, dy] = polar(from + 90 * side, radius * ARM_SHARE + FIGURE_PX);
  return [x + dx, y + dy];
}

/** @param {SVGTextElement} text @param {number} x @param {number} y @param {string} words */
function place(text, x, y, words) {
  setAttribute(text, "x", x.toFixed(1));
  setAttribute(text, "y", y.toFixed(1));
  setText(text, words);
}
