// @ts-check
import { html, svg } from "../../lib/dom.js";

const WIDTH = 320;
const HEIGHT = 170;
const LEFT = 54;
const TOP = 8;
const BOTTOM = 26;

/** A picture of what was measured. The figures at the ends say the scale. @param {import("./types.js").Plot} plot */
export function plotFigure(plot) {
  const series = Object.entries(plot.series);
  const points = series.flatMap(([, line]) => line);
  const names = series.length > 1 ? ` ${series.map(([name]) => name).join(", ")}.` : "";
  const caption = html("figcaption", { class: "hint" }, `${plot.title}${plot.y_label ? `, ${plot.y_label}` : ""}.${names}`);
  if (!points.length) return html("figure", { class: "bench-plot" }, caption);
  const across = span(points.map(([x]) => x));
  const up = span(points.map(([, y]) => y));
  const right = WIDTH - 6;
  const low = HEIGHT - BOTTOM;
  /** @param {[number, number]} point @returns {[number, number]} */
  const at = ([x, y]) => [LEFT + ((x - across[0]) / (across[1] - across[0])) * (right - LEFT), low - ((y - up[0]) / (up[1] - up[0])) * (low - TOP)];
  const drawing = svg("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, role: "img", "aria-label": plot.title },
    svg("path", { class: "frame", d: `M ${LEFT} ${TOP} V ${low} H ${right}` }),
    label(LEFT - 4, TOP + 9, short(up[1]), "end"), label(LEFT - 4, low, short(up[0]), "end"),
    label(LEFT, HEIGHT - 8, short(across[0]), "start"), label(right, HEIGHT - 8, `${short(across[1])} ${plot.x_label}`, "end"));
  series.forEach(([, line], i) => {
    if (plot.dots) line.map(at).forEach(([x, y]) => drawing.append(svg("circle", { cx: x.toFixed(1), cy: y.toFixed(1), r: 2.4 })));
    else drawing.append(svg("path", { "data-series": Math.min(i, 3), d: line.map((point, j) => `${j ? "L" : "M"} ${at(point).map((one) => one.toFixed(1)).join(" ")}`).join(" ") }));
  });
  return html("figure", { class: "bench-plot" }, drawing, caption);
}

/** @param {number} x @param {number} y @param {string} words @param {string} anchor */
const label = (x, y, words, anchor) => svg("text", { x, y, "text-anchor": anchor }, words);

/** @param {number[]} values @returns {[number, number]} */
function span(values) {
  const least = Math.min(...values);
  const most = Math.max(...values);
  return most > least ? [least, most] : [least - 0.5, most + 0.5];
}

/** @param {number} value */
const short = (value) => String(Number(value.toPrecision(3)));
