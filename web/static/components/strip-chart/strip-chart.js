// @ts-check
import { angle, figure, quantity, timeOfDay } from "../../lib/format.js";
import { need, setAttribute, setHidden, setText } from "../../lib/dom.js";
import { band, paletteOf } from "./band.js";
import { fingers } from "./fingers.js";
import { scalesOf } from "./scales.js";
import { worthDrawing } from "./still.js";

const RECOLOURED_BY = ["(prefers-color-scheme: dark)", "(prefers-contrast: more)"];

/** Angle, speed and torque over the last two minutes; can be paused, pinched and read, and keeps a fault.
 * @type {import("../../lib/page.js").Mount} */
export function mountStripChart(host, page, signal) {
  const { store, painter, preferences } = page;
  const places = [0, 1, 2].map((i) => need(host, `[data-plot="${i}"]`));
  const readings = [0, 1, 2].map((i) => need(host, `[data-reading="${i}"]`));
  const pause = need(host, "[data-pause]");
  const frozen = need(host, "[data-frozen]");
  const note = need(host, "[data-strip-note]");
  const windows = [.../** @type {NodeListOf<HTMLElement>} */ (host.querySelectorAll("[data-window]"))];
  /** @type {import("./band.js").Look} */
  const look = { seconds: 30, readAt: null, endWord: "now" };
  /** @type {import("./band.js").uPlot[]} */
  let plots = [];
  let columns = store.strip.since(0, 0);
  let end = 0;
  let paused = false;
  let showFrozen = false;
  let asked = true;
  let inSight = false;
  let palette = paletteOf(host);
  const worth = worthDrawing();
  const scales = scalesOf(store, () => columns);

  const redraw = () => {
    asked = true;
    painter.ask();
  };
  const recolour = () => {
    palette = paletteOf(host);
    redraw();
  };

  const feed = () => {
    if (paused) return;
    const kept = showFrozen ? store.frozen : null;
    end = kept ? Number(kept.columns[0]?.at(-1)) : performance.now() / 1000;
    columns = kept ? kept.columns : store.strip.since(look.seconds, end);
  };
  const draw = () => {
    const times = (columns[0] ?? []).map((at) => Number(at) - end);
    look.endWord = showFrozen ? "stop" : "now";
    plots.forEach((plot, i) => plot.setData([times, columns[i + 1] ?? []]));
    host.dataset.showing = showFrozen ? "frozen" : "live";
  };
  const read = () => {
    const times = columns[0] ?? [];
    const index = look.readAt === null ? times.length - 1 : nearest(times, end + look.readAt);
    const [, deg, speed, torque] = columns.map((column) => column[index] ?? null);
    const words = [angle(deg, store.snapshot?.deg_per_count ?? 1), quantity(speed, "°/s", 1), quantity(torque, "N·m", 2)];
    readings.forEach((reading, i) => setText(reading, times.length ? words[i] ?? "" : ""));
    const what = showFrozen && store.frozen ? `Frozen at the fault, ${timeOfDay(store.frozen.at)}. ` : paused ? "Paused. " : "";
    const when = `Read ${figure(end - Number(times[index]), 1)} s ${showFrozen ? "before the stop" : "ago"}`;
    setText(note, look.readAt === null || !times.length ? what : what + when);
  };
  const showChoices = () => {
    setText(pause, paused ? "Go on" : "Pause");
    setAttribute(pause, "aria-pressed", String(paused));
    setHidden(frozen, !store.frozen);
    setAttribute(frozen, "aria-pressed", String(showFrozen));
    for (const button of windows) setAttribute(button, "aria-pressed", String(Number(button.dataset.window) === look.seconds));
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
  for (const query of RECOLOURED_BY) matchMedia(query).addEventListener("change", recolour, { signal });
  preferences.addEventListener("change", recolour, { signal });
  signal.addEventListener("abort", () => {
    size.disconnect();
    sight.disconnect();
    plots.forEach((plot) => plot.destroy());
    plots = [];
  });

  painter.add(() => {
    if (!store.snapshot || !inSight || !plots.length) return;
    const live = !paused && !showFrozen && !store.stale;
    if (!asked && !store.frozen === frozen.hidden && !(live && worth(store.snapshot))) return;
    asked = false;
    showChoices();
    feed();
    draw();
    read();
  }, signal);

  import("../../vendor/uplot/uPlot.esm.js").then(({ default: Plot }) => {
    if (signal.aborted) return;
    plots = scales.map((scale, i) => band(Plot, /** @type {HTMLElement} */ (places[i]), scale, look, () => palette));
    size.observe(host);
    sight.observe(host);
  }, () => setText(note, "The chart could not be loaded. Driving works without it."));
}

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
