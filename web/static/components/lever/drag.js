// @ts-check
import { bearing } from "../../lib/geometry.js";

/** A press that moves less than this is a touch, not a drag. */
const LEAST_DRAG_PX = 4;
/** Nearer to the pivot than this share of the radius an angle means nothing. */
const DEAD_SHARE = 0.18;

/**
 * Dragging the dashed lever: `onAim` gets the angle under the finger, or null when the finger has slid off;
 * `onLift` gets the last of them.
 *
 * @param {SVGElement} grip
 * @param {SVGSVGElement} sheet
 * @param {() => import("./layout.js").Layout|null} layout
 * @param {{enabled: () => boolean, near: () => number, onAim: (deg: number|null) => void, onLift: (deg: number|null) => void}} hooks
 * @param {AbortSignal} signal
 */
export function draggable(grip, sheet, layout, hooks, signal) {
  /** @type {{id: number, x: number, y: number, moved: boolean, deg: number|null}|null} */
  let drag = null;

  /** @param {PointerEvent} event @returns {number|null} */
  const under = (event) => {
    const now = layout();
    const box = sheet.getBoundingClientRect();
    const inside = event.clientX >= box.left && event.clientX <= box.right && event.clientY >= box.top && event.clientY <= box.bottom;
    if (!now || !inside) return null;
    const x = event.clientX - box.left - now.x;
    const y = event.clientY - box.top - now.y;
    if (Math.hypot(x, y) < now.radius * DEAD_SHARE) return null;
    const turn = bearing(x, y);
    return turn + 360 * Math.round((hooks.near() - turn) / 360);
  };
  /** @param {boolean} lifted */
  const end = (lifted) => {
    if (!drag) return;
    const { moved, deg } = drag;
    drag = null;
    hooks.onLift(lifted && moved ? deg : null);
  };

  grip.addEventListener("pointerdown", (event) => {
    if (!hooks.enabled()) return;
    if (drag) return end(false);
    event.preventDefault();
    grip.focus({ preventScroll: true });
    grip.setPointerCapture(event.pointerId);
    drag = { id: event.pointerId, x: event.clientX, y: event.clientY, moved: false, deg: null };
  }, { signal });
  grip.addEventListener("pointermove", (event) => {
    if (drag?.id !== event.pointerId) return;
    drag.moved ||= Math.hypot(event.clientX - drag.x, event.clientY - drag.y) >= LEAST_DRAG_PX;
    if (!drag.moved) return;
    drag.deg = under(event);
    hooks.onAim(drag.deg);
  }, { signal });
  grip.addEventListener("pointerup", () => end(true), { signal });
  for (const lost of ["pointercancel", "lostpointercapture"]) grip.addEventListener(lost, () => end(false), { signal });
  window.addEventListener("blur", () => end(false), { signal });
  signal.addEventListener("abort", () => end(false));
}
