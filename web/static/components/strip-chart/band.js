// @ts-check
import { figure } from "../../lib/format.js";

/** @typedef {import("../../vendor/uplot/uPlot.esm.js")} uPlot */
/** @typedef {typeof import("../../vendor/uplot/uPlot.esm.js")} Plotter */
/** @typedef {{ink: string, soft: string, grid: string, mark: string, font: string}} Palette */
/** @typedef {{range: () => [number, number], splits: () => number[], limits: () => number[], last: boolean}} Scale */
/** @typedef {{seconds: number, readAt: number|null, endWord: string}} Look time shown, and where the finger is, in seconds before the end */

const AXIS_PX = 46;
const TIME_AXIS_PX = 26;

/** @param {Element} host @returns {Palette} */
export function paletteOf(host) {
  const style = getComputedStyle(host);
  const of = (/** @type {string} */ name) => style.getPropertyValue(name).trim();
  return { ink: of("--ink"), soft: of("--soft"), grid: of("--grid"), mark: of("--mark"), font: `12px ${style.fontFamily}` };
}

/** One band of the strip: a value over the seconds before the end.
 * @param {Plotter} Plot @param {HTMLElement} host @param {Scale} scale @param {Look} look @param {() => Palette} palette */
export function band(Plot, host, scale, look, palette) {
  const line = { stroke: () => palette().soft, font: palette().font, grid: { stroke: () => palette().grid, width: 1 }, ticks: { show: false } };
  return new Plot({
    width: Math.max(80, host.clientWidth),
    height: host.clientHeight,
    pxAlign: 0,
    padding: [6, 18, scale.last ? 0 : 6, 0],
    legend: { show: false },
    cursor: { show: false },
    scales: { x: { time: false, range: () => [-look.seconds, 0] }, y: { range: scale.range } },
    axes: [
      { ...line, show: scale.last, size: TIME_AXIS_PX, values: (_, ticks) => ticks.map((tick) => (tick === 0 ? look.endWord : `${figure(tick, 0)} s`)) },
      { ...line, size: AXIS_PX, splits: scale.splits, values: (_, ticks) => ticks.map((tick) => figure(tick, Number.isInteger(tick) ? 0 : 1)) },
    ],
    series: [{}, { stroke: () => palette().ink, width: 1.75, points: { show: false } }],
    hooks: { draw: [(plot) => drawMarks(plot, scale, look, palette())] },
  }, [[], []], host);
}

/** @param {uPlot} plot @param {Scale} scale @param {Look} look @param {Palette} palette */
function drawMarks(plot, scale, look, palette) {
  const { ctx, bbox } = plot;
  const ratio = devicePixelRatio;
  ctx.save();
  ctx.lineWidth = ratio;
  for (const limit of scale.limits()) {
    const y = plot.valToPos(limit, "y", true);
    ctx.strokeStyle = palette.ink;
    ctx.setLineDash([14 * ratio, 3 * ratio, 2 * ratio, 3 * ratio]);
    stroke(ctx, bbox.left, y, bbox.left + bbox.width, y);
  }
  if (look.readAt !== null) {
    const x = plot.valToPos(look.readAt, "x", true);
    ctx.strokeStyle = palette.mark;
    ctx.setLineDash([]);
    stroke(ctx, x, bbox.top, x, bbox.top + bbox.height);
  }
  ctx.restore();
}

/** @param {CanvasRenderingContext2D} ctx @param {number} x1 @param {number} y1 @param {number} x2 @param {number} y2 */
function stroke(ctx, x1, y1, x2, y2) {
  ctx.beginPath();
  ctx.moveTo(x1, y1);
  ctx.lineTo(x2, y2);
  ctx.stroke();
}
