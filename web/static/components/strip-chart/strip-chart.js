// @ts-check
import { angle, figure, quantity, timeOfDay } from "../../lib/format.js";
import { need, setAttribute, setHidden, setText } from "../../lib/dom.js";
import { tickStep } from "../../lib/geometry.js";
import { band, paletteOf } from "./band.js";
import { fingers } from "./fingers.js";
import { worthDrawing } from "./still.js";

/** @typedef {import("./band.js").Look} Look */

/** An endless travel shows at least this much, so that rest does not look like motion. */
const LEAST_SPAN_DEG = 10;

/** Angle, speed and torque over the last two minutes; can be paused, pinched and read, and keeps a fault.
 * @type {import("../../lib/page.js").Mount} */
export function mountStripChart(host, page, signal) {
  const { store, painter, preferences } = page;
  const places = [0, 1, 2].map((i) => need(host, `[data-plot="${i}"]`));
  const readings = [0, 1, 2].map((i) => need(host, `[data-reading="${i}"]`));
  const pause = need(host, "[data-pause]");
  const frozen = need(host, "[data-frozen]");
  const windows = [.../** @type {NodeListOf<HTMLElement>} */ (host.querySelectorAll("[data-window]"))];
  /** @type {Look} */
  const look = { seconds: 30, readAt: null, endWord: "now" };
  /** @type {import("./band.js").uPlot[]} */
  let plots = [];
  let columns = store.strip.since(0, 0);
  let end = 0;
  let peak = 0;
  let paused = false;
  let showFrozen = false;
  let asked = true;
  let inSight = false;
  let palette = paletteOf(host);
  const worth = worthDrawing();

  const redraw = () => {
    asked = true;
    painter.ask();
  };
  const recolour = () => {
    palette = paletteOf(host);
    redraw();
  };
  const speedLimit = () => store.snapshot?.limits?.speed_deg_s ?? 1;
  const torqueLimit = () => store.snapshot?.limits?.torque_nm ?? 1;
  /** @type {import("./band.js").Scale[]} */
  const scales = [
    { range: () => widened(angles(), 0.1), splits: () => steps(angles()), limits: () => [], last: false },
    { range: () => widened(bothWays(speedLimit()), 0.3), splits: () => threeOf(bothWays(speedLimit())), limits: () => [], last: false },
    { range: () => widened(bothWays(Math.max(torqueLimit(), peak)), 0.15), splits: () => threeOf(bothWays(torqueLimit())), limits: () => bothWays(torqueLimit()), last: true },
  ];
  /** @returns {[number, number]} */
  function angles() {
    const travel = store.snapshot?.travel;
    if (travel && !travel.endless && travel.min_deg !== null && travel.max_deg !== null) {
      return [travel.min_deg, travel.max_deg];
    }
    const known = (columns[1] ?? []).filter((value) => value !== null);
    const low = known.length ? Math.min(...known) : 0;
    return [low, Math.max(low + LEAST_SPAN_DEG, ...known)];
  }

  const feed = () => {
    if (paused) return;
    end = showFrozen && store.frozen ? Number(store.frozen.columns[0]?.at(-1)) : performance.now() / 1000;
    columns = showFrozen && store.frozen ? store.frozen.columns : store.strip.since(look.seconds, end);
  };
  const draw = () => {
    peak = (columns[3] ?? []).reduce((/** @type {number} */ most, value) => Math.max(most, Math.abs(value ?? 0)), 0);
    const times = (columns[0] ?? []).map((at) => Number(at) - end);
    look.endWord = showFrozen ? "stop" : "now";
    plots.forEach((plot, i) => plot.setData([times, /** @type {(number|null)[]} */ (columns[i + 1])]));
    host.dataset.showing = showFrozen ? "frozen" : "live";
  };
  const read = () => {
    const snapshot = store.snapshot;
    if (!snapshot) return;
    const index = look.readAt === null ? -1 : nearest(columns[0] ?? [], end + look.readAt);
    const value = (/** @type {number} */ i) => columns[i]?.at(index) ?? null;
    const words = [angle(value(1), snapshot.deg_per_count), quantity(value(2), "°/s", 1), quantity(value(3), "N·m", 2)];
    readings.forEach((reading, i) => setText(reading, columns[0]?.length ? words[i] ?? "" : ""));
    const at = Number(columns[0]?.at(index)) - end;
    const where = showFrozen && store.frozen ? `Frozen at the fault, ${timeOfDay(store.frozen.at)}. ` : paused ? "Paused. " : "";
    const before = showFrozen ? "before the stop" : "ago";
    setText(need(host, "[data-strip-note]"), where + (look.readAt === null ? "" : `Read ${figure(-at, 1)} s ${before}`));
  };

  fingers(need(host, "[data-bands]"), {
    read: (x) => {
      const plot = plots[0];
      look.readAt = x === null || !plot ? null : Math.min(0, plot.posToVal(x - plot.over.getBoundingClientRect().left, "x"));
      redraw();
    },
    seconds: () => look.seconds,
    zoom: (seconds) => {
      look.seconds = seconds;
      redraw();
    },
  }, signal);
  pause.addEventListener("click", () => {
    paused = !paused;
    redraw();
  }, { signal });
  frozen.addEventListener("click", () => {
    showFrozen = !showFrozen;
    paused = false;
    redraw();
  }, { signal });
  for (const button of windows) {
    button.addEventListener("click", () => {
      look.seconds = Number(button.dataset.window);
      redraw();
    }, { signal });
  }

  const size = new ResizeObserver(() => {
    plots.forEach((plot, i) => plot.setSize({ width: places[i]?.clientWidth || 80, height: places[i]?.clientHeight || 80 }));
    redraw();
  });
  const sight = new IntersectionObserver((entries) => {
    inSight = entries.at(-1)?.isIntersecting ?? false;
    redraw();
  });
  for (const query of ["(prefers-color-scheme: dark)", "(prefers-contrast: more)"]) matchMedia(query).addEventListener("change", recolour, { signal });
  preferences.addEventListener("change", recolour, { signal });
  signal.addEventListener("abort", () => {
    size.disconnect();
    sight.disconnect();
    plots.forEach((plot) => plot.destroy());
    plots = [];
  });

  painter.add(() => {
    const snapshot = store.snapshot;
    if (!snapshot || !inSight || !plots.length) return;
    if (!(asked || (!paused && !showFrozen && !store.stale && worth(snapshot)))) return;
    asked = false;
    setText(pause, paused ? "Go on" : "Pause");
    setAttribute(pause, "aria-pressed", String(paused));
    setHidden(frozen, !store.frozen);
    setAttribute(frozen, "aria-pressed", String(showFrozen));
    for (const button of windows) setAttribute(button, "aria-pressed", String(Number(button.dataset.window) === look.seconds));
    feed();
    draw();
    read();
  }, signal);

  import("../../vendor/uplot/uPlot.esm.js").then(({ default: Plot }) => {
    if (signal.aborted) return;
    plots = places.map((place, i) => band(Plot, place, /** @type {import("./band.js").Scale} */ (scales[i]), look, () => palette));
    size.observe(host);
    sight.observe(host);
  }, () => setText(need(host, "[data-strip-note]"), "The chart could not be loaded. Driving works without it."));
}

/** @param {number} most @returns {[number, number]} */
const bothWays = (most) => [-most, most];
/** @param {[number, number]} range */
const steps = ([low, high]) => {
  const step = tickStep((high - low) / 3);
  const first = Math.ceil(low / step);
  return Array.from({ length: Math.floor(high / step) - first + 1 }, (_, i) => (first + i) * step);
};
/** @param {[number, number]} range */
const threeOf = ([low, high]) => [low, (low + high) / 2, high];
/** @param {[number, number]} range @param {number} share @returns {[number, number]} */
const widened = ([low, high], share) => [low - (high - low) * share, high + (high - low) * share];

/** @param {(number|null)[]} times @param {number} at */
function nearest(times, at) {
  let low = 0;
  let high = times.length - 1;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (Number(times[middle]) < at) low = middle + 1;
    else high = middle;
  }
  return low;
}
