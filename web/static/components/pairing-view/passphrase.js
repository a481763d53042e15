// @ts-check
import { need, setHidden } from "../../lib/dom.js";
import { report } from "../../lib/report.js";

const LEAST = 8;

/** Has whoever manages choose a passphrase. @param {HTMLElement} form @param {import("../../lib/api.js").Api} api
 * @param {() => void} done @param {AbortSignal} signal */
export function mountPassphrase(form, api, done, signal) {
  const field = /** @type {HTMLInputElement} */ (need(form, "[data-passphrase]"));
  setHidden(need(form, "[data-passphrase-plain]"), isSecureContext);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    void report(form, set(field.value)).then((went) => went && done());
  }, { signal });
  need(form, "[data-passphrase-later]").addEventListener("click", done, { signal });
  setHidden(form, false);
  field.focus();

  /** @param {string} passphrase */
  async function set(passphrase) {
    if (passphrase.length < LEAST) throw new Error(`${LEAST} characters at least.`);
    await api.call("PUT", "me/passphrase", { passphrase });
  }
}
