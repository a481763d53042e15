// @ts-check
/** A strip with nothing new on it is fed this seldom. */
const REST_FEED_MS = 1000;

/** Tells whether the strip is worth drawing again: something moved, or a second went by.
 * @returns {(snapshot: import("../../lib/types.js").Snapshot) => boolean} */
export function worthDrawing() {
  let drawnAt = -Infinity;
  let drawn = [NaN, NaN, NaN];
  return (snapshot) => {
    const now = [snapshot.angle_deg ?? 0, snapshot.speed_deg_s ?? 0, snapshot.torque_nm ?? 0];
    const least = [snapshot.deg_per_count / 2, (snapshot.limits?.speed_deg_s ?? 1) * 0.005, (snapshot.limits?.torque_nm ?? 1) * 0.005];
    const moved = now.some((value, i) => !(Math.abs(value - /** @type {number} */ (drawn[i])) < /** @type {number} */ (least[i])));
    if (!moved && performance.now() - drawnAt < REST_FEED_MS) return false;
    drawnAt = performance.now();
    drawn = now;
    return true;
  };
}
