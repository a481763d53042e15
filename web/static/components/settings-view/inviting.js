// @ts-check
import { need, setHidden, setText } from "../../lib/dom.js";
import { report } from "../../lib/report.js";
import { LET_IN_TO } from "../../lib/roles.js";

const TICK_MS = 1000;
const HERE_ONLY = /^(localhost|127\.|\[::1\])/;

/** An invitation for another phone: QR code, digits, and the time that is left. Gone from the screen once it is used or over.
 * @param {HTMLElement} host @param {import("../../lib/page.js").Page} page @param {import("./let-in.js").LetIn} letIn @param {AbortSignal} signal */
export function mountInviting(host, page, letIn, signal) {
  const form = need(host, "[data-invite-form]");
  const role = /** @type {HTMLSelectElement} */ (need(form, "[data-invite-role]"));
  const shown = need(host, "[data-invitation]");
  const words = need(shown, "[data-invite-words]");
  let endsAt = 0;
  let livesMs = 1;
  let timer = 0;

  /** @param {string} [why] */
  const hide = (why) => {
    clearInterval(timer);
    const plate = need(shown, "[data-qr]");
    plate.replaceChildren();
    for (const name of ["[data-invite-code]", "[data-invite-address]"]) setText(need(shown, name), "");
    shown.toggleAttribute("data-over", why !== undefined);
    setHidden(shown, why === undefined);
    if (why) setText(words, why);
  };
  const tick = () => {
    const left = endsAt - performance.now();
    if (left <= 0) return hide("This code is over. Show a new one.");
    const minutes = Math.floor(left / 60_000);
    const seconds = String(Math.floor((left % 60_000) / 1000)).padStart(2, "0");
    setText(need(shown, "[data-invite-time]"), `${minutes}:${seconds}`);
    need(shown, "[data-invite-left]").style.transform = `scaleX(${(left / livesMs).toFixed(3)})`;
  };
  const invite = async () => {
    const offer = await page.api.call("POST", "pairing/offers", { role: role.value });
    hide();
    shown.removeAttribute("data-over");
    const drawn = new DOMParser().parseFromString(offer.qr_svg, "image/svg+xml").documentElement;
    drawn.setAttribute("viewBox", `0 0 ${drawn.getAttribute("width")} ${drawn.getAttribute("height")}`);
    need(shown, "[data-qr]").replaceChildren(document.importNode(drawn, true));
    const [address] = offer.address.split("#");
    setText(need(shown, "[data-invite-address]"), address);
    setText(need(shown, "[data-invite-code]"), `${offer.code.slice(0, 3)} ${offer.code.slice(3)}`);
    setText(words, `Good once. Whoever uses it is let in to ${LET_IN_TO[/** @type {import("../../lib/types.js").Role} */ (offer.role)]}.`);
    setHidden(need(shown, "[data-invite-here]"), !HERE_ONLY.test(new URL(address).host));
    setHidden(shown, false);
    livesMs = offer.lives_s * 1000;
    endsAt = performance.now() + livesMs;
    timer = setInterval(tick, TICK_MS);
    tick();
    shown.scrollIntoView({ block: "nearest" });
  };
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    void report(form, invite());
  }, { signal });
  need(shown, "[data-invite-hide]").addEventListener("click", () => hide(), { signal });
  letIn.addEventListener("paired", (event) => {
    if (!shown.hidden) hide(`${/** @type {CustomEvent<string>} */ (event).detail} is let in.`);
  }, { signal });
  signal.addEventListener("abort", () => hide());
}
