// @ts-check
import { angle } from "../../lib/format.js";
import { arc, polar } from "../../lib/geometry.js";
import { setAttribute, setHidden, setText, svg } from "../../lib/dom.js";

/** A narrower angle has no room for its figure between the arrowheads. */
const ROOM_DEG = 44;
const BESIDE_DEG = 11;
/** Clear of the ring at the tip of the dashed lever. */
const PAST_RING_DEG = 14;
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
  const now = snapshot.angle_deg ?? 0;
  const from = layout.endless || (layout.min <= 0 && layout.max >= 0) ? 0 : layout.min;
  const span = layout.endless ? now % 360 : now - from;
  const radius = layout.radius * 0.5;
  const wide = Math.abs(span) >= ROOM_DEG;
  setAttribute(line, "d", Math.abs(span) < 0.5 ? "" : arc(from, from + span, radius));
  line.toggleAttribute("data-both", Math.abs(span) > 8);
  const side = span < 0 ? -1 : 1;
  const [x, y] = polar(from + (wide ? span / 2 : -side * BESIDE_DEG), radius);
  place(reading, x, y, snapshot.angle_deg === null ? "" : angle(snapshot.angle_deg, snapshot.deg_per_count));

  const gap = target - now;
  setHidden(going, Math.abs(gap) < APART_DEG);
  const [tx, ty] = polar(target + Math.sign(gap) * PAST_RING_DEG, layout.radius * 0.82);
  place(going, tx, ty, angle(target, snapshot.deg_per_count));
}

/** @param {SVGTextElement} text @param {number} x @param {number} y @param {string} words */
function place(text, x, y, words) {
  setAttribute(text, "x", x.toFixed(1));
  setAttribute(text, "y", y.toFixed(1));
  setText(text, words);
}
