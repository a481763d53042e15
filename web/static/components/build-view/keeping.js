// @ts-check
import { readStored, writeStored } from "../../lib/preferences.js";
import { Draft } from "./draft.js";

/** The draft of a servo's sheet: the one left unsaved in this browser, else the saved sheet. It is kept on each change.
 * @param {import("../../lib/page.js").Page} page @param {AbortSignal} signal @returns {Promise<Draft>} */
export async function draftOf(page, signal) {
  const key = `geartender-sheet-${page.servo}`;
  const { decoded: saved, etag } = await page.api.ask("GET", page.commands.at("build"), undefined, { signal });
  const kept = readStored(key, null);
  const draft = new Draft(kept ?? { saved, etag });
  draft.addEventListener("change", () => {
    const { doc, saved: base, etag: tag } = draft;
    writeStored(key, draft.changes.length ? { doc, saved: base, etag: tag } : null);
  }, { signal });
  return draft;
}
