// @ts-check
import { STRIP_SECONDS } from "../../lib/strip.js";

const LEAST_SECONDS = 5;

/**
 * One finger reads, two fingers pinch the time shown.
 * @param {HTMLElement} host
 * @param {{read: (clientX: number|null) => void, seconds: () => number, zoom: (seconds: number) => void}} hooks
 * @param {AbortSignal} signal
 */
export function fingers(host, hooks, signal) {
  /** @type {Map<number, number>} */
  const down = new Map();
  let apart = 0;
  let secondsThen = 0;
  const distance = () => {
    const [a = 0, b = 0] = [...down.values()];
    return Math.max(20, Math.abs(a - b));
  };
  const forget = (/** @type {PointerEvent} */ event) => {
    down.delete(event.pointerId);
    if (event.pointerType !== "mouse" || event.type === "pointerleave") hooks.read(null);
  };
  host.addEventListener("pointerdown", (event) => {
    down.set(event.pointerId, event.clientX);
    if (down.size === 2) {
      apart = distance();
      secondsThen = hooks.seconds();
    }
    hooks.read(down.size === 1 ? event.clientX : null);
  }, { signal });
  host.addEventListener("pointermove", (event) => {
    if (down.has(event.pointerId)) down.set(event.pointerId, event.clientX);
    if (down.size === 2) hooks.zoom(Math.min(STRIP_SECONDS, Math.max(LEAST_SECONDS, (secondsThen * apart) / distance())));
    else hooks.read(event.clientX);
  }, { signal });
  for (const end of /** @type {const} */ (["pointerup", "pointercancel", "pointerleave"])) host.addEventListener(end, forget, { signal });
}
