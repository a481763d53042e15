// @ts-check
import { html, need } from "../../lib/dom.js";

/** The sheet as a file: out of the page, and into it.
 * @param {HTMLElement} host @param {import("../../lib/api.js").Api} api @param {import("./draft.js").Draft} draft
 * @param {(work: Promise<string>) => void} tell @param {AbortSignal} signal */
export function mountFiles(host, api, draft, tell, signal) {
  const picker = /** @type {HTMLInputElement} */ (need(host, "[data-file]"));

  const download = async () => {
    const { text } = await api.ask("POST", "build/to-toml", draft.doc);
    const name = fileName(draft.doc.name);
    const url = URL.createObjectURL(new Blob([text], { type: "application/toml" }));
    html("a", { href: url, download: name }).click();
    URL.revokeObjectURL(url);
    return `${name} is in your downloads.`;
  };
  /** @param {File} file */
  const load = async (file) => {
    draft.replace(await api.call("POST", "build/from-toml", { toml: await file.text() }));
    return `${file.name} is loaded, not saved yet. Undo takes it back.`;
  };

  need(host, "[data-download]").addEventListener("click", () => tell(download()), { signal });
  need(host, "[data-load]").addEventListener("click", () => picker.click(), { signal });
  need(host, "[data-print]").addEventListener("click", () => print(), { signal });
  picker.addEventListener("change", () => {
    const file = picker.files?.[0];
    picker.value = "";
    if (file) tell(load(file));
  }, { signal });
}

/** @param {unknown} name of the servo */
function fileName(name) {
  const plain = String(name ?? "").toLowerCase().normalize("NFKD").replace(/[^a-z0-9]+/g, "-").replace(/^-+|-+$/g, "");
  return `${plain || "build"}.toml`;
}
