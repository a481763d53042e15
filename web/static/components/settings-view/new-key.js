// @ts-check
import { html, need, setHidden, setText } from "../../lib/dom.js";
import { report } from "../../lib/report.js";

const DAY_MS = 86_400_000;

/** Makes a key for a script, and shows it this once.
 * @param {HTMLElement} host @param {import("../../lib/page.js").Page} page @param {import("./let-in.js").LetIn} letIn @param {AbortSignal} signal */
export function mountNewKey(host, page, letIn, signal) {
  const form = need(host, "[data-key-form]");
  const shown = need(host, "[data-new-key]");
  const key = /** @type {HTMLInputElement} */ (need(shown, "[data-key]"));
  const status = need(shown, "[data-key-status]");
  const copy = need(shown, "[data-key-copy]");
  const value = (/** @type {string} */ name) => /** @type {HTMLInputElement|HTMLSelectElement} */ (need(form, `[data-key-${name}]`)).value.trim();
  const servo = need(form, "[data-key-servo]");
  servo.replaceChildren(html("option", { value: "" }, "all of them"), ...page.store.servos.map(({ name }) => html("option", { value: name }, name)));

  const make = async () => {
    if (!value("name")) throw new Error("Give the key a name, so that you know later what to revoke.");
    const days = Number(value("expires"));
    const made = await page.api.call("POST", "keys", {
      name: value("name"), role: value("role"), servo: value("servo") || null,
      expires_at: days ? new Date(Date.now() + days * DAY_MS).toISOString() : null,
    });
    key.value = made.key;
    setText(status, "");
    setHidden(shown, false);
    key.focus();
    key.select();
    await letIn.read();
  };
  const done = () => {
    key.value = "";
    setHidden(shown, true);
  };
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    void report(form, make());
  }, { signal });
  setHidden(copy, !navigator.clipboard);
  copy.addEventListener("click", () => void navigator.clipboard.writeText(key.value).then(
    () => setText(status, "Copied."), () => setText(status, "Your browser did not let it be copied. It is selected: copy it by hand.")), { signal });
  need(shown, "[data-key-done]").addEventListener("click", done, { signal });
  signal.addEventListener("abort", done);
}
