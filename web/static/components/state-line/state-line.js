// @ts-check
import { need, setHidden, setText } from "../../lib/dom.js";
import { report } from "../../lib/report.js";
import { adviceWords, progress, stateWords } from "./words.js";

/** A screen reader hears of a change at most this often. */
const ANNOUNCE_EVERY_MS = 1000;

/** The state in words and the one next act that makes sense.
 * @type {import("../../lib/page.js").Mount} */
export function mountStateLine(host, page, signal) {
  const { store, commands, painter } = page;
  const act = /** @type {HTMLButtonElement} */ (need(host, "[data-act]"));
  const disarm = need(host, "[data-disarm]");
  const done = need(host, "[data-progress-done]");
  const announce = announcer(need(document, "[data-announce]"), signal);

  const nextAct = () => {
    const snapshot = store.snapshot;
    if (!snapshot || store.stale || !store.may("drive")) return null;
    if (snapshot.state === "faulted") return { word: "Reset", run: () => commands.reset() };
    if (snapshot.state === "disarmed") return { word: "Arm", run: () => commands.arm() };
    if (snapshot.state === "ready" && !snapshot.homed) return { word: "Find home", run: () => commands.home() };
    return null;
  };
  const hint = () => {
    const helm = store.snapshot?.helm;
    if (store.stale) return "";
    if (!store.may("drive")) return "You are let in to watch: you can stop and disarm it, not move it.";
    if (helm && !helm.yours) return `${helm.holder} holds the helm. You can watch, and stop.`;
    if (!store.drivable) return "";
    return store.moving ? "Drag again to change where it goes" : "Drag the ring to where it shall go";
  };

  act.addEventListener("click", () => {
    const next = nextAct();
    if (next) void report(host, next.run());
  }, { signal });
  disarm.addEventListener("click", () => void report(host, commands.disarm()), { signal });

  painter.add(() => {
    const snapshot = store.snapshot;
    const next = nextAct();
    const words = stateWords(store);
    const advice = adviceWords(store);
    const share = progress(store);
    setText(need(host, "[data-servo-name]"), store.sheet?.name ?? snapshot?.name ?? page.servo);
    setText(need(host, "[data-state-words]"), words);
    setText(need(host, "[data-state-advice]"), advice);
    setHidden(need(host, "[data-state-advice]"), !advice);
    host.toggleAttribute("data-faulted", snapshot?.state === "faulted");
    setHidden(disarm, !snapshot?.armed || store.stale);
    if (!next && document.activeElement === act) disarm.focus();
    setHidden(act, !next);
    if (next) setText(act, next.word);
    setText(need(host, "[data-act-hint]"), next ? "" : hint());
    setHidden(need(host, "[data-progress]"), share === null);
    if (share !== null) done.style.transform = `scaleX(${share.toFixed(3)})`;
    announce(store.moving ? words.replace(/,.*/, "") : `${words}. ${advice}`);
  }, signal);
}

/** @param {HTMLElement} region @param {AbortSignal} signal @returns {(words: string) => void} */
function announcer(region, signal) {
  let latest = "";
  let timer = 0;
  signal.addEventListener("abort", () => clearTimeout(timer));
  return (words) => {
    if (words === latest) return;
    latest = words;
    if (timer) return;
    timer = setTimeout(() => {
      timer = 0;
      setText(region, latest);
    }, ANNOUNCE_EVERY_MS);
  };
}
