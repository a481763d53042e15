// @ts-check
const SIGNS = new Map([["ArrowUp", 1], ["ArrowRight", 1], ["PageUp", 1], ["ArrowDown", -1], ["ArrowLeft", -1], ["PageDown", -1]]);

/** How far a key turns the dashed lever: 1°, with Shift or as a page 10°, with Alt one count.
 * @param {KeyboardEvent} event @param {import("../../lib/types.js").Snapshot} snapshot @returns {number|null} */
export function stepOfKey(event, snapshot) {
  const sign = SIGNS.get(event.key);
  if (!sign || event.ctrlKey || event.metaKey) return null;
  if (event.altKey) return sign * snapshot.deg_per_count;
  return sign * (event.shiftKey || event.key.startsWith("Page") ? 10 : 1);
}
