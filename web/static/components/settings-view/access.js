// @ts-check
import { need, setHidden } from "../../lib/dom.js";
import { sayWhatIsMissing } from "../../lib/roles.js";
import { mountInviting } from "./inviting.js";
import { LetIn } from "./let-in.js";
import { mountNewKey } from "./new-key.js";

/** Who is let in and with which keys, letting in others, and letting in no longer. Not where whoever is on the machine may do all.
 * @type {import("../../lib/page.js").Mount} */
export function mountAccess(host, page, signal) {
  const { store } = page;
  const manages = store.may("manage");
  setHidden(host, store.me?.kind === "anybody");
  sayWhatIsMissing(host, store);
  setHidden(need(host, "[data-managing]"), !manages);
  if (!manages || store.me?.kind === "anybody") return;
  const letIn = new LetIn(need(host, "[data-managing]"), page, signal);
  mountInviting(host, page, letIn, signal);
  mountNewKey(host, page, letIn, signal);
}
