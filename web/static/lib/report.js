// @ts-check
import { Problem } from "./api.js";
import { need, setHidden, setText } from "./dom.js";

/** What was refused in one state says nothing about the next. @param {ParentNode} root */
export function forgetProblems(root) {
  for (const place of root.querySelectorAll("[data-problem]")) setHidden(place, true);
}

/** @param {unknown} error */
function wordsOf(error) {
  if (error instanceof Problem) return [error.message, ...error.errors.map((mistake) => mistake.detail)].join(" ");
  return error instanceof Error ? error.message : String(error);
}

/** Shows what went wrong beside the control that asked, and clears it when the next one goes well.
 * @param {HTMLElement} host holds a `[data-problem]` @param {Promise<unknown>} work @returns {Promise<boolean>} whether it went well */
export async function report(host, work) {
  const place = need(host, "[data-problem]");
  try {
    await work;
    setHidden(place, true);
    setText(place, "");
    return true;
  } catch (error) {
    setText(place, wordsOf(error));
    setHidden(place, false);
    return false;
  }
}
