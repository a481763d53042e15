// @ts-check
import { angle } from "../../lib/format.js";
import { need, setText } from "../../lib/dom.js";
import { stateWords } from "../state-line/words.js";

const HOLD_FOR_CATEGORY_0_MS = 1000;
/** How long the answer stays before the bar falls quiet again. */
const ANSWER_SHOWN_MS = 6000;
const REST = "Hold for a second: drive off at once";
const NO_CONNECTION = "No connection: use the hardware switch";
const NOT_LET_IN = "Not let in, so Stop is refused: use the hardware switch";
const FIELDS = "input:not([type=range]), textarea, select, [contenteditable]";

/** Stop acts on the press. Held for a second it asks for category 0 as well.
 * @param {HTMLElement} host @param {Pick<import("../../lib/page.js").Page, "stopper"|"store"|"painter">} page
 * @param {AbortSignal} signal */
export function mountStopBar(host, { stopper, store, painter }, signal) {
  const button = need(host, "[data-stop]");
  const note = need(host, "[data-stop-note]");
  let holdTimer = 0;
  let restTimer = 0;
  let pressed = false;

  const press = () => {
    if (pressed) return;
    pressed = true;
    host.toggleAttribute("data-held", true);
    void stopper.press(1);
    holdTimer = setTimeout(() => void stopper.press(0), HOLD_FOR_CATEGORY_0_MS);
  };
  const release = () => {
    pressed = false;
    clearTimeout(holdTimer);
    host.toggleAttribute("data-held", false);
  };

  const words = () => {
    if (store.admission === "out") return NOT_LET_IN;
    if (stopper.phase === "sent") return stopper.category === 0 ? "Drive off sent, waiting for the servo" : "Stop sent, waiting for the servo";
    if (stopper.phase === "retrying") return stopper.detail ? `${stopper.detail} Trying again` : NO_CONNECTION;
    if (stopper.phase === "refused") return stopper.detail;
    if (!store.serviceAnswers) return NO_CONNECTION;
    if (stopper.phase === "answered") return outcome();
    return document.documentElement.dataset.view === "drive" ? REST : stateWords(store);
  };
  const outcome = () => {
    const snapshot = store.snapshot;
    if (store.stale || !snapshot) return "Stop received by the service";
    const where = angle(snapshot.angle_deg, snapshot.deg_per_count);
    if (store.moving) return `Stopping, now at ${where}`;
    return snapshot.armed ? `Stopped at ${where}` : `Stopped at ${where}, drive off`;
  };

  button.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    press();
  }, { signal });
  for (const end of ["pointerup", "pointercancel"]) window.addEventListener(end, release, { signal });
  window.addEventListener("blur", release, { signal });
  button.addEventListener("click", (event) => {
    if (event.detail === 0) void stopper.press(1);
  }, { signal });
  button.addEventListener("contextmenu", (event) => event.preventDefault(), { signal });

  window.addEventListener("keydown", (event) => {
    const inField = event.target instanceof Element && event.target.matches(FIELDS);
    if (event.key !== "Escape" && (event.key !== " " || inField)) return;
    if (event.key === " ") event.preventDefault();
    if (!event.repeat) press();
  }, { signal, capture: true });
  window.addEventListener("keyup", (event) => {
    if (event.key === "Escape" || event.key === " ") release();
    if (event.key === " " && event.target instanceof HTMLButtonElement) event.preventDefault();
  }, { signal, capture: true });

  stopper.addEventListener("progress", () => {
    clearTimeout(restTimer);
    if (stopper.phase === "answered" || stopper.phase === "refused") {
      restTimer = setTimeout(() => stopper.enter("idle"), ANSWER_SHOWN_MS);
    }
    painter.ask();
  }, { signal });
  painter.add(() => setText(note, words()), signal);
}
