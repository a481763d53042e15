// @ts-check
import { html } from "../../lib/dom.js";
import { question } from "../question/question.js";

/** Saves and deletes the sequence of a draft, and asks when somebody else was first. */
export class Storing {
  /** @param {import("../../lib/page.js").Page} page @param {AbortSignal} signal */
  constructor(page, signal) {
    this.page = page;
    this.signal = signal;
  }

  /** @param {string} name */
  static path(name) {
    return `sequences/${encodeURIComponent(name)}`;
  }

  /** @param {string} name @param {import("../build-view/draft.js").Draft} draft */
  async put(name, draft) {
    /** @type {Record<string, string>} */
    const headers = draft.etag ? { "If-Match": draft.etag } : { "If-None-Match": "*" };
    const { decoded, etag } = await this.page.api.ask("PUT", Storing.path(name), draft.doc, { headers });
    draft.rebase(decoded, etag);
    return "Saved.";
  }

  /** Somebody else has saved, or there is one of that name already. @param {string} name
   * @param {import("../build-view/draft.js").Draft} draft @returns {Promise<string>} */
  async settle(name, draft) {
    const answer = await question(this.page, "Another one is stored under this name", [
      html("p", {}, "It was saved after you opened yours, or before you gave yours this name. Only one can stay."),
    ], [
      { answer: "theirs", words: "Take theirs" }, { answer: "mine", words: "Keep mine, overwrite theirs", main: true },
    ], this.signal);
    if (!answer) return "Not saved.";
    const { decoded, etag } = await this.page.api.ask("GET", Storing.path(name));
    draft.rebase(decoded, etag);
    if (answer === "mine") return this.put(name, draft);
    draft.replace(decoded);
    return "This is theirs now. Undo brings yours back.";
  }

  /** @param {string} name @param {string} etag @returns {Promise<boolean>} whether it is gone */
  async remove(name, etag) {
    const answer = await question(this.page, `Delete ${name}?`, [html("p", {}, "It is gone for everybody. What it did stays in the journal.")], [
      { answer: "delete", words: "Delete it" }, { answer: "", words: "Keep it", main: true },
    ], this.signal);
    if (answer !== "delete") return false;
    await this.page.api.ask("DELETE", Storing.path(name), undefined, { headers: { "If-Match": etag } });
    return true;
  }
}

/** The document as a file in the downloads. @param {string} name @param {unknown} doc */
export function download(name, doc) {
  const url = URL.createObjectURL(new Blob([JSON.stringify(doc, null, 2)], { type: "application/json" }));
  const file = `${name || "sequence"}.json`;
  html("a", { href: url, download: file }).click();
  URL.revokeObjectURL(url);
  return `${file} is in your downloads.`;
}

/** A name that can stand in an address. @param {string} text */
export function plainName(text) {
  return text.toLowerCase().normalize("NFKD").replace(/[^a-z0-9]+/g, "-").replace(/^-+|-+$/g, "").slice(0, 40).replace(/-+$/, "");
}
