// @ts-check
import { coordinates, polar } from "../../lib/geometry.js";
import { svg } from "../../lib/dom.js";
import { wormLength } from "./train.js";

/** @typedef {import("./train.js").Part} Part */

/** One tooth: share of the tooth pitch from its middle, and height over the pitch circle in modules. */
const TOOTH = [[-0.36, -1.25], [-0.25, 0], [-0.12, 1], [0.12, 1], [0.25, 0], [0.36, -1.25]];

/** @param {Part} part @param {number} scale px for a mm */
export function wheel(part, scale) {
  const pitch = 360 / part.teeth;
  const points = [];
  for (let tooth = 0; tooth < part.teeth; tooth += 1) {
    for (const [share = 0, height = 0] of TOOTH) {
      points.push(coordinates(...polar((tooth + share) * pitch, (part.radius + height * part.module) * scale)));
    }
  }
  const radius = part.radius * scale;
  const bore = Math.min(0.22 * radius, 2.5 * scale);
  const group = svg("g", {}, svg("path", { class: "gear-edge", d: `M ${points.join(" L ")} Z` }));
  group.append(
    svg("circle", { class: "gear-edge", r: bore.toFixed(2) }),
    svg("path", { class: "gear-root", d: `M ${bore.toFixed(2)} 0 H ${((part.radius - 1.25 * part.module) * scale).toFixed(2)}` }),
  );
  return group;
}

/** A worm with its axis across the line to its wheel; the threads slide in a group of their own.
 * @param {Part} part @param {number} scale @returns {{group: SVGGElement, threads: SVGGElement}} */
export function worm(part, scale) {
  const half = (wormLength(part) / 2) * scale;
  const outer = (part.radius + part.module) * scale;
  const pitch = Math.PI * part.module * scale;
  const clip = `worm-${Math.round(part.x * 100)}-${Math.round(part.y * 100)}`;
  const threads = svg("g");
  for (let at = -half - 2 * pitch; at <= half + 2 * pitch; at += pitch) {
    threads.append(svg("path", { class: "gear-edge", d: `M ${coordinates(-outer, at)} L ${coordinates(outer, at + pitch * part.teeth * 0.5)}` }));
  }
  const box = { x: -outer, y: -half, width: 2 * outer, height: 2 * half };
  const group = svg("g", { transform: `rotate(${-part.towards})` },
    svg("clipPath", { id: clip }, svg("rect", box)),
    svg("rect", { class: "gear-edge", ...box }),
    svg("g", { "clip-path": `url(#${clip})` }, threads),
    svg("path", { class: "pitch", d: `M 0 ${(-half - 8).toFixed(1)} V ${(half + 8).toFixed(1)}` }),
  );
  return { group, threads };
}
