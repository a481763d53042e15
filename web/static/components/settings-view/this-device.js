// @ts-check
import { html, need, setHidden, setText } from "../../lib/dom.js";
import { defaultLabel, forgetClientName } from "../../lib/identity.js";
import { report } from "../../lib/report.js";
import { LET_IN_TO } from "../../lib/roles.js";
import { question } from "../question/question.js";
import { anyway } from "./anyway.js";
import { dayOf } from "./words.js";

const PASSPHRASE_LEAST = 8;

/** The name of this device, what it is let in to, its passphrase, and forgetting it.
 * @type {import("../../lib/page.js").Mount} */
export function mountThisDevice(host, page, signal) {
  const { store, api, access } = page;
  const label = /** @type {HTMLInputElement} */ (need(host, "[data-label]"));
  const hint = need(host, "[data-label-hint]");
  const passphrase = need(host, "[data-change-passphrase]");

  const show = () => {
    const { me } = store;
    if (me?.kind !== "phone" || signal.aborted) return;
    label.value = me.name ?? "";
    setText(need(host, "[data-me]"), `Paired, and let in to ${LET_IN_TO[me.role]}${me.expires_at ? `. To be paired again by ${dayOf(me.expires_at)}` : ""}.`);
    setText(passphrase, me.has_passphrase ? "Change passphrase" : "Set a passphrase");
    setHidden(passphrase, me.role !== "manage");
  };
  const keepHere = () => {
    page.preferences.set({ label: label.value.trim() || defaultLabel() });
    forgetClientName();
    label.value = page.preferences.choices.label;
  };
  const rename = async () => {
    await api.call("PUT", "me", { name: label.value.trim() || defaultLabel() });
    keepHere();
    await access.ask();
    show();
    setText(hint, "Others see this name now.");
  };
  const paired = store.me?.kind === "phone";
  label.value = page.preferences.choices.label;
  setText(hint, paired ? "Such as: kitchen phone." : "Used from the next time you load this page.");
  label.addEventListener("change", () => void (paired ? report(host, rename()) : keepHere()), { signal });
  passphrase.addEventListener("click", () => void report(host, choosePassphrase(page, signal).then(async (done) => {
    if (done) await access.ask();
    show();
  })), { signal });
  need(host, "[data-forget]").addEventListener("click", () => void report(host, forget(page, signal)), { signal });
  setHidden(need(host, "[data-me]"), !paired);
  setHidden(need(host, "[data-paired]"), !paired);
  show();
}

/** @param {import("../../lib/page.js").Page} page @param {AbortSignal} signal */
async function forget(page, signal) {
  const answer = await question(page, "Forget this device?", [
    html("p", {}, "It is let in no longer, and cannot stop the lever either. What it moves stops now. To come back it needs a new code."),
  ], [{ answer: "forget", words: "Forget it" }, { answer: "", words: "Keep it", main: true }], signal);
  if (answer && await anyway(page, "DELETE", "me", undefined, signal)) location.reload();
}

/** @param {import("../../lib/page.js").Page} page @param {AbortSignal} signal @returns {Promise<boolean>} whether one was set */
async function choosePassphrase(page, signal) {
  const field = html("input", { type: "password", id: "new-passphrase", autocomplete: "new-password", maxlength: "128" });
  const plain = isSecureContext ? "" : " This page is not encrypted: whoever listens on this network can read it. Take one that you use nowhere else.";
  let chosen = "";
  const check = async (/** @type {string} */ answer) => {
    if (answer && field.value.length < PASSPHRASE_LEAST) throw new Error(`${PASSPHRASE_LEAST} characters at least.`);
    chosen = field.value;
  };
  const answer = await question(page, "A passphrase for this device", [
    html("p", {}, `Asked for before limits are changed, or others let in to manage.${plain}`), html("label", { for: field.id }, "New passphrase"), field,
  ], [{ answer: "set", words: "Set it", main: true }, { answer: "", words: "Not now" }], signal, check);
  // Sent when the dialog is gone: the service may ask for the old passphrase first, in a dialog of its own.
  if (answer) await page.api.call("PUT", "me/passphrase", { passphrase: chosen });
  return answer !== "";
}
