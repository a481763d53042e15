// @ts-check
import { angle, quantity } from "../../lib/format.js";

/** @typedef {import("../../lib/store.js").Store} Store */

/** The state in words. @param {Store} store @returns {string} */
export function stateWords(store) {
  if (store.admission === "out") return "Let in no longer";
  if (!store.serviceAnswers) return "No connection to the service";
  if (!store.snapshot) return "Waiting for the servo";
  if (store.silent) return "No news from the servo";
  return lastKnown(store, store.snapshot);
}

/** @param {Store} store @param {import("../../lib/types.js").Snapshot} snapshot @returns {string} */
function lastKnown(store, snapshot) {
  const where = snapshot.homed
    ? `at ${angle(snapshot.angle_deg, snapshot.deg_per_count)}`
    : "position unknown";
  const to = snapshot.target_deg === null ? "" : ` to ${angle(snapshot.target_deg, snapshot.deg_per_count)}`;
  if (snapshot.held_up) return `Held up ${where}: goes on when the load lets go`;
  switch (snapshot.state) {
    case "offline": return "Offline: the board does not answer";
    case "disarmed": return snapshot.homed ? `Disarmed ${where}` : `Disarmed, ${where}`;
    case "ready": return snapshot.homed ? `Ready ${where}` : `Armed, ${where}`;
    case "homing": return `Finding home${timeLeft(store)}`;
    case "moving": return `Moving${to}${timeLeft(store)}`;
    case "turning": return `Turning at ${quantity(snapshot.speed_deg_s, "°/s", 1)}`;
    case "jogging": return `Running while you hold, ${where}`;
    case "stopping": return `Stopping, ${where}`;
    case "faulted": return `Stopped itself${reason(snapshot.fault?.cause)}`;
    default: return snapshot.state;
  }
}

/** What it means and what to do. @param {Store} store @returns {string} */
export function adviceWords(store) {
  const snapshot = store.snapshot;
  if (store.admission === "out") return "What you see is old, and you can neither move nor stop it from here. Use the hardware switch if the lever must stop.";
  if (!store.serviceAnswers) return "What you see is old. Use the hardware switch if the lever must stop. The page looks for the service by itself.";
  if (snapshot?.state === "offline") return "Check that the board has power and its cable is in. It comes back by itself, disarmed.";
  if (snapshot && store.silent) return `Last known: ${lastKnown(store, snapshot).replace(/, \d.*/, "")}. What you see is old.`;
  const fault = snapshot?.fault;
  if (!snapshot || snapshot.state !== "faulted" || !fault) return "";
  const peak = fault.peak_torque_nm === null ? "" : ` Peak torque ${quantity(fault.peak_torque_nm, "N·m", 2)}.`;
  return `${fault.text} ${fault.advice}${peak}`;
}

/** @type {Record<string, string>} */
const REASONS = {
  "overload": "the load was too high",
  "stalled": "it was blocked",
  "wrong-direction": "it ran the wrong way",
  "sensor-error": "the disc sensors make no sense",
  "following-error": "it fell behind its plan",
  "travel": "it left its travel",
  "host-silent": "it heard nothing from the service",
  "supply-low": "the supply fell too low",
  "too-hot": "the winding got too hot",
  "home-not-found": "home was not found",
  "overrun": "the board did not keep time",
  "controller-reset": "the controller restarted",
};

/** @param {string|undefined} cause */
function reason(cause) {
  const words = REASONS[cause ?? ""] ?? cause;
  return words ? `: ${words}` : "";
}

/** @param {Store} store */
function timeLeft(store) {
  const elapsed = store.motionElapsed;
  const planned = store.snapshot?.motion?.planned_s;
  if (!planned) return elapsed > 1 ? `, ${quantity(Math.floor(elapsed), "s", 0)} so far` : "";
  const left = planned - elapsed;
  return left > 0.5 ? `, ${quantity(Math.ceil(left), "s", 0)} left` : "";
}

/** Done share of a motion that takes longer than a second, else null. @param {Store} store */
export function progress(store) {
  const planned = store.snapshot?.motion?.planned_s;
  if (!store.moving || !planned || planned < 1) return null;
  return Math.min(1, store.motionElapsed / planned);
}
