// @ts-check
import { need } from "../../lib/dom.js";

/** What a choice of the form stands for. @type {Record<string, string[]>} */
const KINDS = {
  motion: ["move", "home", "turn", "jog"],
  stops: ["stop", "fault", "audit"],
  runs: ["run", "slot"],
  drive: ["bench", "health", "arm", "disarm", "reset", "helm", "override"],
  settings: ["build", "change", "restore"],
  access: ["access"],
  service: ["store", "link", "notice", "clock"],
};
const DAY_MS = 86_400_000;
const TYPING_MS = 300;

/** @param {HTMLFormElement} form @returns {import("./feed.js").Query} */
export function queryOf(form) {
  const given = new FormData(form);
  const text = String(given.get("text")).trim();
  const kinds = KINDS[String(given.get("what"))];
  const from = startOf(String(given.get("from")));
  const to = startOf(String(given.get("to")));
  return {
    ...(text && { text }),
    ...(kinds && { kind: kinds }),
    ...(from !== null && { since: new Date(from).toISOString() }),
    ...(to !== null && { until: new Date(to + DAY_MS).toISOString() }),
  };
}

/** Midnight at the reader's place. @param {string} day @returns {number|null} */
function startOf(day) {
  const at = day ? new Date(`${day}T00:00`).getTime() : NaN;
  return Number.isNaN(at) ? null : at;
}

/** Calls `changed` when another search is wanted. @param {HTMLElement} host @param {() => void} changed @param {AbortSignal} signal */
export function watchFilters(host, changed, signal) {
  const form = /** @type {HTMLFormElement} */ (need(host, "[data-filters]"));
  let timer = 0;
  const soon = (/** @type {number} */ ms) => {
    clearTimeout(timer);
    timer = setTimeout(changed, ms);
  };
  form.addEventListener("input", () => soon(TYPING_MS), { signal });
  form.addEventListener("reset", () => soon(0), { signal });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    soon(0);
  }, { signal });
  signal.addEventListener("abort", () => clearTimeout(timer));
  return form;
}
