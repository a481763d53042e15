// @ts-check
import { angle } from "../../lib/format.js";
import { need, setEnabled, setHidden, setText } from "../../lib/dom.js";
import { report } from "../../lib/report.js";
import { helmJudgement, linkJudgement, supplyJudgement, windingJudgement } from "./judgements.js";

/** How long damaged lines stay worth a word. */
const ERRORS_ARE_NEWS_MS = 10_000;

/** Helm, link, supply, winding: quiet until one of them is wrong.
 * @type {import("../../lib/page.js").Mount} */
export function mountQuietLine(host, page, signal) {
  const { store, commands, painter, stopper } = page;
  const dialog = /** @type {HTMLDialogElement} */ (need(document, "[data-helm-dialog]"));
  const take = /** @type {HTMLButtonElement} */ (need(host, "[data-helm-take]"));
  const give = need(host, "[data-helm-give]");
  let errors = 0;
  let errorsAt = -Infinity;

  const consequence = () => {
    const snapshot = store.snapshot;
    if (!snapshot) return "";
    const to = snapshot.target_deg === null ? "" : ` to ${angle(snapshot.target_deg, snapshot.deg_per_count)}`;
    const holder = snapshot.helm?.holder ?? "Someone else";
    return `${holder} is moving the lever${to}. Taking the helm stops it first. After that, ${holder} can watch and stop, but not move.`;
  };
  /** Not a modal dialog: Stop must stay in reach under it. @param {boolean} opened */
  const open = (opened) => {
    need(document, "main").inert = opened;
    if (opened) dialog.show();
    else if (dialog.open) {
      dialog.close();
      take.focus();
    }
  };
  take.addEventListener("click", () => {
    if (!store.moving) return void report(host, commands.takeHelm(true));
    setText(need(dialog, "[data-helm-consequence]"), consequence());
    open(true);
  }, { signal });
  give.addEventListener("click", () => void report(host, commands.giveHelm()), { signal });
  need(dialog, "[data-helm-confirm]").addEventListener("click", () => {
    open(false);
    void report(host, commands.takeHelm(true));
  }, { signal });
  need(dialog, "[data-helm-cancel]").addEventListener("click", () => open(false), { signal });
  stopper.addEventListener("press", () => open(false), { signal });
  signal.addEventListener("abort", () => open(false));

  /** @param {HTMLElement} item @param {import("./judgements.js").Judgement} judgement @param {Element} [text] */
  const show = (item, { words, wrong }, text = item) => {
    setText(text, words);
    if (item.hasAttribute("data-speaks") !== wrong) item.toggleAttribute("data-speaks", wrong);
  };

  painter.add(() => {
    const link = store.snapshot?.link;
    if (link && link.errors > errors) errorsAt = errors || link.reconnects ? performance.now() : errorsAt;
    errors = link?.errors ?? errors;
    const helmItem = need(host, "[data-quiet-helm]");
    show(helmItem, helmJudgement(store), need(helmItem, "[data-text]"));
    show(need(host, "[data-quiet-link]"), linkJudgement(store, performance.now() - errorsAt < ERRORS_ARE_NEWS_MS));
    show(need(host, "[data-quiet-supply]"), supplyJudgement(store));
    show(need(host, "[data-quiet-winding]"), windingJudgement(store));
    const helm = store.snapshot?.helm;
    setHidden(take, !helm || helm.yours);
    setEnabled(take, store.may("drive"));
    setHidden(give, !helm?.yours);
  }, signal);
}
