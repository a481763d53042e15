// @ts-check
import { html, need, setHidden, setText } from "../../lib/dom.js";
import { report } from "../../lib/report.js";

/** @typedef {{id: string, kind: string, servo: string|null, text: string, advice: string, since: string, can_be_put_aside: boolean}} Notice */

/** What needs a person does not come in seconds; what stops the servo is said by its state at once. */
const LOOK_EVERY_MS = 10_000;

/** What needs a person, on every view; a fault is said by the state line already.
 * @type {import("../../lib/page.js").Mount} */
export function mountNotices(host, page, signal) {
  const { api, store, painter } = page;
  const list = need(host, "[data-notices-list]");
  let shown = "";
  let heard = store.events;

  /** @param {Notice[]} notices */
  const show = (notices) => {
    const text = JSON.stringify(notices);
    if (text === shown) return;
    shown = text;
    list.replaceChildren(...notices.map((notice) => item(notice, store.may("drive"), putAside)));
    setText(need(host, "[data-notices-count]"), notices.length === 1 ? "This needs you" : `${notices.length} things need you`);
    setHidden(host, notices.length === 0);
  };
  const look = async () => {
    const { items } = await api.call("GET", "notices");
    if (!signal.aborted) show(items.filter((/** @type {Notice} */ notice) => notice.kind !== "fault"));
  };
  const lookQuietly = () => void look().catch(() => undefined); // no answer is said by Stop, on every view
  /** @param {string} id */
  const putAside = (id) => void report(host, api.call("DELETE", `notices/${encodeURIComponent(id)}`).then(look));

  painter.add(() => {
    if (heard === store.events) return;
    heard = store.events;
    lookQuietly();
  }, signal);
  const timer = setInterval(() => {
    if (!document.hidden) lookQuietly();
  }, LOOK_EVERY_MS);
  signal.addEventListener("abort", () => clearInterval(timer));
  lookQuietly();
}

/** @param {Notice} notice @param {boolean} mayPutAside @param {(id: string) => void} putAside */
function item(notice, mayPutAside, putAside) {
  const shown = html("li", { "data-notice": notice.kind }, html("p", {}, notice.text), html("p", { class: "hint" }, notice.advice));
  if (notice.can_be_put_aside) {
    const button = html("button", { type: "button", class: "small" }, "Put aside");
    button.disabled = !mayPutAside;
    button.addEventListener("click", () => putAside(notice.id));
    shown.append(button);
  }
  return shown;
}
