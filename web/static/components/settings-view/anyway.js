// @ts-check
import { html } from "../../lib/dom.js";
import { Problem } from "../../lib/api.js";
import { question } from "../question/question.js";

/** Asks it of the service; where nobody would be left to manage, asks the person first whether it is meant.
 * @param {import("../../lib/page.js").Page} page @param {string} method @param {string} path @param {unknown} body @param {AbortSignal} signal
 * @returns {Promise<boolean>} whether it was done */
export async function anyway(page, method, path, body, signal) {
  try {
    await page.api.call(method, path, body);
    return true;
  } catch (error) {
    if (!(error instanceof Problem && error.slug === "last-manager")) throw error;
  }
  const answer = await question(page, "Nobody would be left who manages", [
    html("p", {}, "Then nobody can let others in or change limits from a phone. The way back is at the machine: ", html("code", {}, "geartender pair --role manage"), "."),
  ], [{ answer: "anyway", words: "Do it anyway" }, { answer: "", words: "Leave it", main: true }], signal);
  if (answer) await page.api.call(method, `${path}?anyway=true`, body);
  return answer !== "";
}
