// @ts-check
import { need, setHidden } from "../../lib/dom.js";
import { isOlder } from "../../lib/shell.js";

/** Says when the service has another page by now. Never reloads by itself: somebody may be holding a button.
 * @type {import("../../lib/page.js").Mount} */
export function mountOlder(host, { store }, signal) {
  let socket = store.socket;
  const look = async () => {
    if (await isOlder()) setHidden(host, false);
  };
  store.addEventListener("change", () => {
    if (store.socket === socket) return;
    socket = store.socket;
    if (socket === "open") void look();
  }, { signal });
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden) void look();
  }, { signal });
  need(host, "[data-outdated-reload]").addEventListener("click", () => location.reload(), { signal });
}
