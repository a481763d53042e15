// @ts-check
import { html, need, setEnabled } from "../../lib/dom.js";
import { report } from "../../lib/report.js";

/** @typedef {{answer: string, words: string, main?: boolean}} Answer */

/** Asks before something that cannot be undone. Not a modal dialog: Stop stays in reach under it, and pressing it is no answer.
 * @param {Pick<import("../../lib/page.js").Page, "stopper"|"store">} page @param {string} title @param {Node[]} content @param {Answer[]} answers
 * @param {AbortSignal} signal @param {(answer: string) => Promise<unknown>} settle what an answer sets off; where that fails, it says why and goes on asking
 * @returns {Promise<string>} the answer, or "" for none */
export function question({ stopper, store }, title, content, answers, signal, settle = async () => undefined) {
  const before = document.activeElement;
  const over = new AbortController();
  const main = need(document, "main");
  const heading = html("h2", { id: "question-title" }, title);
  const dialog = /** @type {HTMLDialogElement} */ (html("dialog", { class: "dialog", "aria-labelledby": "question-title" }, heading, ...content));
  const problem = html("p", { class: "problem", role: "alert", "data-problem": "", hidden: "" });
  const field = dialog.querySelector("input");
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
      button.addEventListener("click", () => void choose(answer));
      return button;
    });
    /** @param {string} answer */
    const choose = async (answer) => {
      buttons.forEach((button) => setEnabled(button, false));
      const settled = await report(dialog, settle(answer));
      buttons.forEach((button) => setEnabled(button, true));
      if (settled) end(answer);
      else field?.focus();
    };
    dialog.append(problem, html("div", { class: "row handed" }, ...buttons));
    field?.addEventListener("keydown", (event) => {
      const act = answers.find(({ main: leads }) => leads);
      if (event.key === "Enter" && act && !buttons[0]?.disabled) void choose(act.answer);
    });
    store.addEventListener("change", () => store.admission === "out" && end(""), { signal: over.signal });
    stopper.addEventListener("press", () => end(""), { signal: over.signal });
    signal.addEventListener("abort", () => end(""), { signal: over.signal });
    document.body.append(dialog);
    main.inert = true;
    dialog.show();
    (field ?? buttons.at(-1))?.focus();
  });
}
