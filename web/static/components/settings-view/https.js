// @ts-check
import { html, need, setHidden, setText } from "../../lib/dom.js";

/** What only comes with a page that the browser takes for its owner's. */
/** @type {[words: string, has: (page: import("../../lib/page.js").Page) => boolean][]} */
const GAINS = [
  ["Nobody on the network can read along, or change what is sent: not the passphrase, not the session, not a command", () => isSecureContext],
  ["The screen stays on while you watch a run", () => "wakeLock" in navigator],
  ["The page can be kept on your home screen, and opens at once; what it then shows of the servo is still only what the service says", ({ shell }) => shell.kept],
  ["A new key can be copied with a button", () => "clipboard" in navigator],
];

/** Says honestly what this page can do as it was opened, and what HTTPS would add.
 * @type {import("../../lib/page.js").Mount} */
export function mountHttps(host, page, signal) {
  setText(need(host, "[data-https-words]"), words());
  setHidden(need(host, "[data-https-how]"), isSecureContext);
  const install = need(host, "[data-install]");
  const show = () => {
    need(host, "[data-https-gains]").replaceChildren(...GAINS.map(([gain, has]) => html("tr", {}, html("th", { scope: "row" }, gain), html("td", {}, has(page) ? "yes" : missing()))));
    setHidden(install, page.shell.offer === null);
  };
  install.addEventListener("click", () => void page.shell.install(), { signal });
  page.shell.addEventListener("change", show, { signal });
  show();
}

function missing() {
  if (!isSecureContext) return "needs HTTPS";
  return location.protocol === "https:" && "serviceWorker" in navigator ? "needs a certificate that is trusted" : "not in this browser";
}

function words() {
  if (location.protocol === "https:") return "This page came over HTTPS: what crosses the network is encrypted. If your browser warned of its certificate, somebody could still sit in between, and it keeps nothing of this page.";
  if (isSecureContext) return "This page comes from this very computer, so nothing of it crosses a network, and your browser allows it what it allows to pages over HTTPS.";
  return "This page came over plain HTTP. It drives and stops like any other, but whoever is on the same network can read along and, with some effort, change what is sent. At home that may be fine; on a network you share it is not.";
}
