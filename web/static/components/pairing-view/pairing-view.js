// @ts-check
import { need, setEnabled, setHidden, setText } from "../../lib/dom.js";
import { defaultLabel, forgetClientName } from "../../lib/identity.js";
import { report } from "../../lib/report.js";
import { mountPassphrase } from "./passphrase.js";
import { readCode, refusal } from "./refusal.js";

/** Lets this phone in, by a typed code or by the secret that came with the address. In front of everything else while it is not
 * let in; else in front of the view. Loads the page anew once it is let in.
 * @param {HTMLElement} host @param {Pick<import("../../lib/page.js").Page, "api"|"store"|"preferences"|"access">} page
 * @param {string} secret "" to have a code typed @param {() => void} leave @param {AbortSignal} signal */
export function mountPairingView(host, { api, store, preferences, access }, secret, leave, signal) {
  const device = defaultLabel().toLowerCase();
  const form = need(host, "[data-pairing-form]");
  const code = /** @type {HTMLInputElement} */ (need(host, "[data-pairing-code]"));
  const name = /** @type {HTMLInputElement} */ (need(host, "[data-pairing-name]"));
  const go = /** @type {HTMLButtonElement} */ (need(host, "[data-pairing-go]"));
  let scanned = secret;

  const show = () => {
    setHidden(need(host, "[data-pairing-typed]"), scanned !== "");
    setHidden(need(host, "[data-pairing-scanned]"), scanned === "");
  };
  const done = () => location.reload();

  const pair = async () => {
    const by = scanned ? { secret: scanned } : { code: readCode(code.value) };
    const called = name.value.trim() || defaultLabel();
    /** @type {import("../../lib/types.js").Me} */
    const me = await api.call("POST", "pairing", { ...by, name: called });
    access.paired(me);
    preferences.set({ label: called });
    forgetClientName();
    if (me.role !== "manage") return done();
    setText(need(host, "[data-pairing-title]"), "Set a passphrase");
    setText(need(host, "[data-pairing-why]"), `${me.name} is paired and manages.`);
    setHidden(form, true);
    mountPassphrase(need(host, "[data-passphrase-form]"), api, done, signal);
  };
  const tryIt = async () => {
    setEnabled(go, false);
    const problem = await pair().then(() => null, (error) => error);
    const { words, waitS } = refusal(problem, scanned !== "");
    if (problem) void report(form, Promise.reject(new Error(words)));
    if (problem?.slug === "unauthenticated" && scanned) {
      scanned = "";
      show();
    }
    setTimeout(() => setEnabled(go, true), waitS * 1000);
    if (problem && !scanned) code.select();
  };

  setText(need(host, "[data-pairing-title]"), `Pair this ${device}`);
  setText(need(host, "[data-pairing-why]"), why(store, device));
  setHidden(need(host, "[data-pairing-leave]"), store.admission === "out");
  need(host, "[data-pairing-leave]").addEventListener("click", leave, { signal });
  name.value = store.me?.name ?? preferences.choices.label;
  code.value = "";
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    if (!go.disabled) void tryIt();
  }, { signal });
  const root = document.documentElement;
  root.dataset.admission = store.admission;
  root.toggleAttribute("data-seen", store.snapshot !== null);
  signal.addEventListener("abort", () => {
    delete root.dataset.admission;
    setHidden(host, true);
  });
  show();
  setHidden(form, false);
  setHidden(host, false);
  need(host, "[data-pairing-title]").focus();
}

/** @param {import("../../lib/store.js").Store} store @param {string} device */
function why(store, device) {
  const { me } = store;
  if (store.admission !== "out") return `This ${device} is paired already, as ${me?.name}. Paired again, it has a new entry under Settings; revoke the old one there.`;
  if (me) return `This ${device} was let in and is no longer: it was revoked, or its time has run out. What you see below is old.`;
  return "Only those who were let in see this servo and may stop it. Ask whoever looks after the machine, or go there yourself.";
}
