// @ts-check
import { html } from "../../lib/dom.js";
import { Problem } from "../../lib/api.js";
import { question } from "../question/question.js";
import { fieldValue, placeLabel } from "./fields.js";
import { differences } from "./paths.js";

/** What guards the machine and the fingers near it: a change here is asked about. */
const GUARDING = /^(limits|travel|overload)\b/;

/** @typedef {import("./paths.js").Difference} Difference */

/** Puts the draft in force. Asks before guards change, and when somebody else has saved in the meantime. */
export class Saving {
  /** @param {import("../../lib/page.js").Page} page @param {import("./draft.js").Draft} draft
   * @param {() => void} compare @param {AbortSignal} signal */
  constructor(page, draft, compare, signal) {
    this.page = page;
    this.draft = draft;
    this.compare = compare;
    this.signal = signal;
  }

  /** @returns {Promise<string>} what came of it, in words */
  async save() {
    const guards = this.draft.changes.filter((change) => GUARDING.test(change.name));
    if (guards.length && !(await this.confirmed(guards))) return "Not saved.";
    try {
      return await this.put();
    } catch (error) {
      if (!(error instanceof Problem && error.slug === "stale")) throw error;
      return this.settle();
    }
  }

  /** @param {Difference[]} guards */
  async confirmed(guards) {
    const words = "From the next motion on the servo keeps to these, and its guards watch for them. Too high, and teeth break or fingers are caught before it stops.";
    return await question(this.page, "Change what guards the servo?", [html("p", {}, words), listOf(guards)], [
      { answer: "save", words: "Save them", main: true }, { answer: "", words: "Not now" },
    ], this.signal) === "save";
  }

  async put() {
    const { api, commands, store } = this.page;
    const { draft } = this;
    const { decoded, etag } = await api.ask("PUT", commands.at("build"), draft.doc, { headers: { "If-Match": draft.etag } });
    draft.rebase(decoded, etag);
    store.set({ sheet: decoded });
    return "Saved. The servo is driven by this sheet now.";
  }

  /** Somebody else has saved: theirs, mine, or a look at both first. @returns {Promise<string>} */
  async settle() {
    const { api, commands, store } = this.page;
    const { draft } = this;
    const { decoded: theirs, etag } = await api.ask("GET", commands.at("build"));
    store.set({ sheet: theirs });
    const between = differences(theirs, draft.doc);
    const answer = await question(this.page, "Somebody else has saved another sheet", [
      html("p", {}, "It was saved after you opened this one. From theirs to yours, this differs:"), listOf(between),
    ], [
      { answer: "theirs", words: "Take theirs" }, { answer: "mine", words: "Keep mine, overwrite theirs" },
      { answer: "compare", words: "Compare first", main: true },
    ], this.signal);
    if (!answer) return "Not saved.";
    draft.rebase(theirs, etag);
    if (answer === "theirs") draft.replace(theirs);
    if (answer === "mine") return this.put();
    if (answer === "compare") this.compare();
    return answer === "theirs" ? "This is their sheet now. Undo brings yours back." : "Not saved yet. Compared with theirs.";
  }
}

/** @param {Difference[]} changes */
export function listOf(changes) {
  return html("ul", { class: "changes" }, ...changes.map((change) => html("li", {}, wordsOf(change))));
}

/** @param {Difference} change */
export function wordsOf({ name, before, after }) {
  const field = name.split(".").pop() ?? name;
  const say = (/** @type {unknown} */ value) => (value === undefined ? "left out" : typeof value === "object" ? "there" : fieldValue(field, value));
  return `${placeLabel(name)}: ${say(before)} → ${say(after)}`;
}
