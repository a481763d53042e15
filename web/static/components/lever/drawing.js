// @ts-check
import { arc, coordinates, polar, sector, tickStep } from "../../lib/geometry.js";
import { figure } from "../../lib/format.js";
import { svg } from "../../lib/dom.js";

/** @typedef {import("./layout.js").Layout} Layout */

const LEAST_TICK_PX = 7;
const LEAST_LABEL_PX = 46;
const RING = 0.08;

/** The lever seen from the output side: hub, tapered arm, eye; drawn pointing right, turned by a transform.
 * @param {number} radius of the scale */
export function leverPath(radius) {
  const hub = 0.1 * radius;
  const eye = 0.048 * radius;
  const tip = 0.84 * radius;
  const lean = Math.asin((hub - eye) / tip) * (180 / Math.PI);
  const [hx, hy] = polar(90 - lean, hub);
  const [ex, ey] = polar(90 - lean, eye);
  return `M ${coordinates(hx, hy)} L ${coordinates(tip + ex, ey)} A ${coordinates(eye, eye)} 0 0 1 ${coordinates(tip + ex, -ey)} `
    + `L ${coordinates(hx, -hy)} A ${coordinates(hub, hub)} 0 1 1 ${coordinates(hx, hy)} Z`;
}

/** Where the eye of the lever is, from the pivot. @param {number} radius */
export const tipRadius = (radius) => 0.84 * radius;

/** What does not move: centre lines, scale, travel, hatching. @param {Layout} layout */
export function ground(layout) {
  const { radius, min, max, hatch, endless } = layout;
  const inner = radius * (1 - RING);
  const group = svg("g");
  group.append(
    svg("path", { class: "centre-line", d: `M ${coordinates(-0.2 * radius, 0)} H ${radius.toFixed(1)}` }),
    svg("path", { class: "centre-line", d: `M ${coordinates(0, 0.2 * radius)} V ${(-0.35 * radius).toFixed(1)}` }),
    svg("path", { class: "scale-arc", d: arc(min, max, radius) }),
  );
  if (!endless) {
    group.append(
      svg("path", { class: "outside", d: sector(min - hatch, min, inner, radius) }),
      svg("path", { class: "outside", d: sector(max, max + hatch, inner, radius) }),
      ...[min, max].map((end) => ray(end, inner - 4, radius + 4, "travel-end")),
    );
  }
  group.append(...scale(layout));
  return group;
}

/** @param {Layout} layout */
function scale({ radius, min, max, endless }) {
  const perDeg = (radius * Math.PI) / 180;
  const small = tickStep(LEAST_TICK_PX / perDeg);
  const large = tickStep(Math.max(LEAST_LABEL_PX / perDeg, small * 2));
  const parts = [];
  const last = endless ? max - small : max;
  for (let deg = Math.ceil(min / small) * small; deg <= last; deg += small) {
    const major = deg % large === 0;
    parts.push(ray(deg, radius * (major ? 0.95 : 0.972), radius, major ? "tick-major" : "tick"));
    if (major) parts.push(label(deg, radius + 20, `${figure(deg, 0)}°`));
  }
  return parts;
}

/** @param {number} deg @param {number} from @param {number} to @param {string} kind */
function ray(deg, from, to, kind) {
  const [x1, y1] = polar(deg, from);
  const [x2, y2] = polar(deg, to);
  return svg("path", { class: kind, d: `M ${coordinates(x1, y1)} L ${coordinates(x2, y2)}` });
}

/** @param {number} deg @param {number} radius @param {string} text */
function label(deg, radius, text) {
  const [x, y] = polar(deg, radius);
  return svg("text", { x: x.toFixed(1), y: y.toFixed(1) }, text);
}

/** The lever itself: solid where it is. @param {number} radius */
export function solidLever(radius) {
  return svg("g", {},
    svg("path", { class: "edge body", d: leverPath(radius) }),
    svg("path", { class: "centre-line", d: `M ${coordinates(-0.13 * radius, 0)} H ${(0.93 * radius).toFixed(1)}` }),
    svg("circle", { class: "edge body", r: (0.045 * radius).toFixed(1) }),
    svg("circle", { class: "tick body", r: (0.02 * radius).toFixed(1), cx: tipRadius(radius).toFixed(1) }),
    svg("path", { class: "tick-major", d: `M ${coordinates(0.888 * radius, 0)} H ${(0.915 * radius).toFixed(1)}` }),
  );
}

/** The lever where it is going, with the ring to take hold of. @param {number} radius */
export function dashedLever(radius) {
  const tip = tipRadius(radius).toFixed(1);
  return svg("g", { class: "grip", role: "slider", tabindex: 0, "aria-label": "Target angle of the lever" },
    svg("path", { class: "grip-reach", d: `M ${coordinates(0.3 * radius, 0)} H ${tip}` }),
    svg("circle", { class: "grip-reach", cx: tip, r: 8 }),
    svg("path", { class: "dashed", d: leverPath(radius) }),
    svg("circle", { class: "grip-ring", cx: tip, r: (0.1 * radius).toFixed(1) }),
    svg("circle", { class: "grip-focus", cx: tip, r: (0.1 * radius + 5).toFixed(1) }),
  );
}
