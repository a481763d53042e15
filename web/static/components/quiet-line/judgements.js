// @ts-check
import { quantity } from "../../lib/format.js";

/** A round trip takes a few ms; this slow, and a fault stop is felt. */
const SLOW_LINK_MS = 50;
const LOW_SUPPLY = 0.85;
const HIGH_SUPPLY = 1.25;
const WARM_WINDING = 0.85;

/** @typedef {import("../../lib/store.js").Store} Store */
/** @typedef {{words: string, wrong: boolean}} Judgement */

/** @param {Store} store @returns {Judgement} */
export function helmJudgement(store) {
  const helm = store.snapshot?.helm;
  if (!helm) return { words: "Helm free", wrong: false };
  return helm.yours ? { words: "You hold the helm", wrong: false } : { words: `${helm.holder} holds the helm`, wrong: false };
}

/** Errors that came since the page last looked are news; old ones are history.
 * @param {Store} store @param {boolean} newErrors @returns {Judgement} */
export function linkJudgement(store, newErrors) {
  const link = store.snapshot?.link;
  if (store.admission === "out") return { words: "Let in no longer", wrong: true };
  if (store.socket !== "open") return { words: "Live connection lost, trying again", wrong: true };
  if (!link) return { words: "Link unknown", wrong: false };
  const trip = quantity(link.round_trip_ms, "ms", 1);
  if (newErrors) return { words: `Link poor: ${link.errors} damaged lines, answer in ${trip}. Check the cable.`, wrong: true };
  if ((link.round_trip_ms ?? 0) > SLOW_LINK_MS) return { words: `Link slow: answer in ${trip}`, wrong: true };
  return { words: `Link good, ${trip}`, wrong: false };
}

/** @param {Store} store @returns {Judgement} */
export function supplyJudgement(store) {
  const volts = store.snapshot?.supply_v;
  const nominal = store.sheet?.motor?.supply_v;
  const shown = quantity(volts, "V", 1);
  if (typeof volts !== "number") return { words: "Supply not measured", wrong: false };
  const of = quantity(nominal, "V", 1);
  if (nominal && volts < nominal * LOW_SUPPLY) return { words: `Supply low: ${shown} of ${of}. Check the adapter.`, wrong: true };
  if (nominal && volts > nominal * HIGH_SUPPLY) return { words: `Supply high: ${shown} of ${of}. Check the adapter.`, wrong: true };
  return { words: `Supply ${shown}`, wrong: false };
}

/** @param {Store} store @returns {Judgement} */
export function windingJudgement(store) {
  const heat = store.snapshot?.winding_c;
  const most = store.sheet?.motor?.max_winding_c;
  if (typeof heat !== "number") return { words: "Winding not estimated", wrong: false };
  const shown = quantity(heat, "°C", 0);
  if (most && heat > most * WARM_WINDING) return { words: `Winding hot: ${shown} of ${quantity(most, "°C", 0)}. Let it rest.`, wrong: true };
  return { words: `Winding ${shown}`, wrong: false };
}
