// @ts-check
import { figure } from "../../lib/format.js";
import { html } from "../../lib/dom.js";

/** The corner of the drawing that says what it shows.
 * @param {HTMLElement} host @param {import("../../lib/store.js").Store} store */
export function titleBlock(host, store) {
  const snapshot = store.snapshot;
  if (!snapshot) return;
  const { travel } = snapshot;
  const parts = [
    !travel || travel.endless ? "Travel endless" : `Travel ${figure(travel.min_deg ?? 0, 0)}° to ${figure(travel.max_deg ?? 0, 0)}°`,
    `1 count = ${figure(snapshot.deg_per_count, 4)}°`,
  ];
  if (host.dataset.shows === parts.join()) return;
  host.dataset.shows = parts.join();
  host.replaceChildren(...parts.map((part) => html("span", {}, part)));
}
