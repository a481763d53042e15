// @ts-check
/** Keeps the screen on while a run is watched, where the browser can; it lets go by itself when the page is out of sight.
 * @param {Pick<import("./page.js").Page, "store"|"painter">} page @param {AbortSignal} signal */
export function mountAwake({ store, painter }, signal) {
  if (!("wakeLock" in navigator)) return;
  /** @type {WakeLockSentinel|null} */
  let lock = null;
  let asking = false;
  const wanted = () => !!store.snapshot?.run && !store.stale && !document.hidden && !signal.aborted;

  const settle = async () => {
    if (asking || wanted() === (lock !== null)) return;
    asking = true;
    if (lock) await lock.release();
    else {
      // Refused on a nearly empty battery, for one: then the screen goes dark as it always does.
      lock = await navigator.wakeLock.request("screen").catch(() => null);
      lock?.addEventListener("release", () => {
        lock = null;
      });
    }
    asking = false;
  };
  painter.add(() => void settle(), signal);
  document.addEventListener("visibilitychange", () => void settle(), { signal });
  signal.addEventListener("abort", () => void settle());
}
