// @ts-check
import { angle } from "../../lib/format.js";
import { need, setAttribute, setText, svg } from "../../lib/dom.js";
import { report } from "../../lib/report.js";
import { dashedLever, ground, solidLever } from "./drawing.js";
import { dimension } from "./dimension.js";
import { draggable } from "./drag.js";
import { layoutOf } from "./layout.js";
import { stepOfKey } from "./keys.js";
import { titleBlock } from "./title-block.js";

const MOST_HEIGHT_PX = 460;
const LEAST_HEIGHT_PX = 240;
/** On a phone the controls must fit under it; where there is width the drawing may be large. */
const ROOMY_PX = 500;
const SHARE_OF_SCREEN = 0.34;
const ROOMY_SHARE = 0.6;
/** Nearer than this the dashed outline would only smear the solid one. */
const APART_DEG = 0.5;
/** A finger cannot aim finer than this. */
const AIM_DEG = 0.5;

/** The lever as a drawing that moves: solid where it is, dashed where it goes, hatched outside the travel.
 * @type {import("../../lib/page.js").Mount} */
export function mountLever(host, page, signal) {
  const { store, commands, painter, stopper } = page;
  const sheet = /** @type {SVGSVGElement} */ (/** @type {unknown} */ (need(host, "[data-sheet]")));
  const note = need(host, "[data-drawing-note]");
  /** @type {import("./layout.js").Layout|null} */
  let layout = null;
  let drawnFor = "";
  /** @type {number|null} */
  let proposed = null;
  let aiming = false;

  const solid = svg("g");
  const figures = svg("g", { "aria-hidden": "true" });
  let grip = dashedLever(1);
  let unhook = new AbortController();

  const shown = () => proposed ?? (store.moving ? store.snapshot?.target_deg : null) ?? store.drawnDeg;

  /** @param {number|null} deg */
  const go = (deg) => {
    aiming = false;
    proposed = null;
    painter.ask();
    if (deg !== null) void report(host, commands.moveTo(deg));
  };
  /** @param {number|null} deg */
  const aim = (deg) => {
    const step = Math.max(AIM_DEG, store.snapshot?.deg_per_count ?? 0);
    aiming = true;
    proposed = deg === null ? null : commands.within(Math.round(deg / step) * step);
    painter.ask();
  };
  /** @param {KeyboardEvent} event */
  const key = (event) => {
    if (!store.drivable || !store.snapshot) return;
    const step = stepOfKey(event, store.snapshot);
    if (event.key === "Enter" && proposed !== null) go(proposed);
    else if (step !== null) proposed = commands.within(shown() + step);
    else return;
    event.preventDefault();
    painter.ask();
  };
  const dismiss = () => {
    if (!aiming) proposed = null;
    painter.ask();
  };

  const redraw = () => {
    if (!store.snapshot || !host.clientWidth) return;
    const { travel } = store.snapshot;
    const share = host.clientWidth > ROOMY_PX ? ROOMY_SHARE : SHARE_OF_SCREEN;
    const most = Math.min(MOST_HEIGHT_PX, Math.max(LEAST_HEIGHT_PX, window.innerHeight * share));
    const wanted = JSON.stringify([travel, host.clientWidth, most]);
    if (wanted === drawnFor) return;
    drawnFor = wanted;
    layout = layoutOf(travel, host.clientWidth, most);
    unhook.abort();
    unhook = new AbortController();
    grip = dashedLever(layout.radius);
    grip.addEventListener("keydown", key, { signal: unhook.signal });
    grip.addEventListener("blur", dismiss, { signal: unhook.signal });
    const hooks = {
      enabled: () => store.drivable,
      near: shown,
      onAim: aim,
      onLift: (/** @type {number|null} */ deg) => go(deg === null || !store.drivable ? null : proposed),
    };
    draggable(grip, sheet, () => layout, hooks, unhook.signal);
    stopper.addEventListener("press", () => grip.dispatchEvent(new Event("pointercancel")), { signal: unhook.signal });
    solid.replaceChildren(solidLever(layout.radius));
    setAttribute(sheet, "viewBox", `0 0 ${layout.width} ${layout.height.toFixed(1)}`);
    setAttribute(sheet, "height", layout.height.toFixed(1));
    const pivot = svg("g", { transform: `translate(${layout.x.toFixed(1)} ${layout.y.toFixed(1)})` }, ground(layout), solid, figures, grip);
    sheet.replaceChildren(pivot);
  };

  const words = () => {
    const counts = store.snapshot?.deg_per_count ?? 0;
    if (aiming) return proposed === null ? "Lift here to cancel" : `Lift to go to ${angle(proposed, counts)}`;
    if (proposed !== null) return `Enter goes to ${angle(proposed, counts)}`;
    if (store.snapshot && !store.snapshot.homed) return "Where it points is not known until home is found";
    return "Seen from the output side";
  };

  const paint = () => {
    redraw();
    const snapshot = store.snapshot;
    if (!snapshot || !layout) return;
    const target = shown();
    setAttribute(solid, "transform", `rotate(${(-store.drawnDeg).toFixed(3)})`);
    setAttribute(grip, "transform", `rotate(${(-target).toFixed(3)})`);
    setAttribute(grip, "aria-disabled", String(!store.drivable));
    setAttribute(grip, "aria-valuenow", target.toFixed(3));
    setAttribute(grip, "aria-valuemin", layout.min);
    setAttribute(grip, "aria-valuemax", layout.max);
    setAttribute(grip, "aria-valuetext", angle(target, snapshot.deg_per_count));
    host.toggleAttribute("data-dragging", aiming || proposed !== null);
    host.toggleAttribute("data-apart", Math.abs(target - store.drawnDeg) > APART_DEG);
    host.toggleAttribute("data-unknown", snapshot.angle_deg === null);
    dimension(figures, layout, snapshot, target);
    setText(note, words());
    titleBlock(need(host, "[data-title-block]"), store);
  };

  const size = new ResizeObserver(() => painter.ask());
  size.observe(host);
  window.addEventListener("resize", painter.ask, { signal });
  stopper.addEventListener("press", dismiss, { signal });
  signal.addEventListener("abort", () => {
    size.disconnect();
    unhook.abort();
  });
  painter.add(paint, signal);
}
