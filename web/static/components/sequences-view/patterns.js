// @ts-check
/** Ready patterns of our own, fitted to the travel and the limits of the servo at hand. */

/** @typedef {{name: string, note: string, steps: import("./kinds.js").Step[], entry?: Record<string, unknown>}} Pattern */

/** @param {import("../../lib/types.js").Snapshot|null} snapshot @returns {Pattern[]} */
export function patterns(snapshot) {
  const travel = snapshot?.travel;
  const low = travel?.endless ? 0 : travel?.min_deg ?? 0;
  const high = travel?.endless ? 90 : travel?.max_deg ?? 90;
  const speed = snapshot?.limits?.speed_deg_s ?? 10;
  const torque = snapshot?.limits?.torque_nm ?? 1;
  const at = (/** @type {number} */ share) => Math.round((low + share * (high - low)) * 10) / 10;
  const to = (/** @type {number} */ share, more = {}) => ({ do: "move", to_deg: at(share), ...more });
  const slow = { speed_deg_s: round(speed / 4) };
  const wait = (/** @type {number} */ seconds) => ({ do: "wait", for_s: seconds });
  const repeat = (/** @type {number} */ times, /** @type {import("./kinds.js").Step[]} */ ...steps) => ({ do: "repeat", times, steps });
  return [
    { name: "open-with-the-sun", note: "Opens two thirds of the way, half an hour after the sun has risen.", steps: [to(0.66, slow)], entry: { sun: "rise", offset_min: 30 } },
    { name: "close-before-dusk", note: "Closes half an hour before the sun sets.", steps: [to(0, slow)], entry: { sun: "set", offset_min: -30 } },
    { name: "air-for-ten-minutes", note: "Opens wide for ten minutes, then closes.", steps: [to(1), wait(600), to(0)], entry: { cron: "0 12 * * *" } },
    { name: "open-in-stages", note: "Opens by quarters with five minutes between, so that it does not get cold at once.", steps: [to(0.25), wait(300), to(0.5), wait(300), to(0.75), wait(300), to(1)] },
    { name: "shake-off-dew", note: "A few short nods that shake water off.", steps: [to(0.1), repeat(4, to(0.16), to(0.1)), to(0)] },
    { name: "sweep", note: "Once over the whole travel and back.", steps: [to(0), to(1), to(0)] },
    { name: "slow-sweep", note: "Over the whole travel at a quarter of the speed: listen and look.", steps: [to(0, slow), to(1, slow), to(0, slow)] },
    { name: "dwell-test", note: "Stands at five places for half a minute each and checks that it stays there.", steps: [0, 0.25, 0.5, 0.75, 1].flatMap((share) => [to(share), wait(30), { do: "check", angle_within_deg: 1, otherwise: "stop" }]) },
    { name: "repeatability", note: "Comes to the middle ten times from below and from above, and checks where it stands.", steps: [repeat(10, to(0.2), to(0.5), { do: "check", angle_within_deg: 0.5, otherwise: "stop" }, to(0.8), to(0.5), { do: "check", angle_within_deg: 0.5, otherwise: "stop" })] },
    { name: "wear-in-gears", note: "Two hundred slow strokes for new gears. The torque of each stands in the run's steps; above two thirds of the limit it stops.", steps: [repeat(200, to(0.9, { speed_deg_s: round(speed / 3) }), { do: "check", torque_below_nm: round(torque * 0.66), otherwise: "stop" }, to(0.1, { speed_deg_s: round(speed / 3) }), { do: "check", torque_below_nm: round(torque * 0.66), otherwise: "stop" }, wait(2))] },
    { name: "home-and-close", note: "Finds home, then closes: for the first run after a power cut.", steps: [{ do: "home" }, to(0)] },
    { name: "hourly-nod", note: "A small stroke once an hour keeps grease where it belongs.", steps: [{ do: "move", by_deg: 3, ...slow }, { do: "move", by_deg: -3, ...slow }], entry: { every_s: 3600 } },
  ];
}

/** @param {number} value two digits that mean something */
function round(value) {
  return Number(value.toPrecision(2));
}
