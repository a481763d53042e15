// @ts-check
import { html } from "../../lib/dom.js";
import { question } from "../question/question.js";

/** Asks for the passphrase before what guards the machine is changed. True once it was right.
 * @param {import("../../lib/page.js").Page} page @param {import("../../lib/api.js").Problem} problem @param {AbortSignal} signal
 * @returns {Promise<boolean>} */
export async function proof(page, problem, signal) {
  if (problem.proof === "pair-again") return pairAgain(page, signal);
  const field = html("input", { type: "password", id: "proof-passphrase", autocomplete: "current-password", maxlength: "128" });
  const prove = async (/** @type {string} */ answer) => {
    if (answer) await page.api.call("POST", "me/proof", { passphrase: field.value });
  };
  const answer = await question(page, "Is it still you?", [
    html("p", {}, "This changes what guards the machine, or who may. Give the passphrase you set when you paired. You are not asked again for five minutes."),
    html("label", { for: field.id }, "Passphrase"), field,
  ], [{ answer: "prove", words: "Go on", main: true }, { answer: "", words: "Not now" }], signal, prove);
  return answer === "prove";
}

/** @param {import("../../lib/page.js").Page} page @param {AbortSignal} signal @returns {Promise<boolean>} */
async function pairAgain(page, signal) {
  const answer = await question(page, "Pair again first", [
    html("p", {}, "This changes what guards the machine, or who may, and needs proof that it is still you. You set no passphrase when you paired, so pair again: ",
      html("code", {}, "geartender pair --role manage"), " at the machine gives a code. Set a passphrase then, and this is not needed again."),
  ], [{ answer: "pair", words: "I have a code", main: true }, { answer: "", words: "Not now" }], signal);
  if (answer) page.access.pairAgain();
  return false;
}
