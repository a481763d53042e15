// @ts-check
import { html, need } from "../../lib/dom.js";

/** @typedef {{answer: string, words: string, main?: boolean}} Answer */

/** Asks before something that cannot be undone. Not a modal dialog: Stop stays in reach under it, and pressing it is no answer.
 * @param {import("../../lib/page.js").Page} page @param {string} title @param {Node[]} content @param {Answer[]} answers
 * @param {AbortSignal} signal @returns {Promise<string>} the answer, or "" for none */
export function question({ stopper }, title, content, answers, signal) {
  const before = document.activeElement;
  const over = new AbortController();
  const main = need(document, "main");
  const heading = html("h2", { id: "question-title" }, title);
  const dialog = /** @type {HTMLDialogElement} */ (html("dialog", { class: "dialog", "aria-labelledby": "question-title" }, heading, ...content));
  return new Promise((resolve) => {
    /** @param {string} answer */
    const end = (answer) => {
      over.abort();
      dialog.remove();
      main.inert = false;
      if (before instanceof HTMLElement) before.focus();
      resolve(answer);
    };
    const buttons = answers.map(({ answer, words, main: act }) => {
      const button = html("button", { type: "button", ...(act ? { class: "act" } : {}) }, words);
      button.addEventListener("click", () => end(answer));
      return button;
    });
    dialog.append(html("div", { class: "row handed" }, ...buttons));
    stopper.addEventListener("press", () => end(""), { signal: over.signal });
    signal.addEventListener("abort", () => end(""), { signal: over.signal });
    document.body.append(dialog);
    main.inert = true;
    dialog.show();
    buttons.at(-1)?.focus();
  });
}
