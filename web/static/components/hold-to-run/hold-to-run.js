// @ts-check
import { need, setEnabled, setText } from "../../lib/dom.js";
import { report } from "../../lib/report.js";
import { Hold } from "./hold.js";

/** Share of the speed limit to run at: slow enough to let go in time. */
const SPEED_SHARE = 0.5;
const RUNNABLE = new Set(["ready", "jogging", "stopping"]);

/** Two wide buttons that run the lever for as long as they are held.
 * @type {import("../../lib/page.js").Mount} */
export function mountHoldToRun(host, page, signal) {
  const { store, live, commands, stopper, painter } = page;
  const hold = new Hold(
    (speed) => live.send({ type: "jog", servo: page.servo, speed_deg_s: speed }),
    () => live.send({ type: "jog", servo: page.servo, speed_deg_s: 0 }),
  );
  /** @type {[HTMLButtonElement, number][]} */
  const buttons = [[need(host, "[data-jog=up]"), 1], [need(host, "[data-jog=down]"), -1]];
  let wanted = 0;

  /** @param {number} way */
  const begin = async (way) => {
    wanted += 1;
    const mine = wanted;
    const snapshot = store.snapshot;
    if (!snapshot?.limits) return;
    const ready = commands.haveHelm();
    await report(host, ready);
    const allowed = await ready.then(() => true, () => false);
    if (allowed && mine === wanted) hold.begin(way * SPEED_SHARE * snapshot.limits.speed_deg_s);
  };
  const end = () => {
    wanted += 1;
    hold.end();
  };

  for (const [button, way] of buttons) {
    button.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      button.setPointerCapture(event.pointerId);
      void begin(way);
    }, { signal });
    button.addEventListener("keydown", (event) => {
      if (event.key !== "Enter") return;
      event.preventDefault();
      if (!event.repeat) void begin(way);
    }, { signal });
    button.addEventListener("contextmenu", (event) => event.preventDefault(), { signal });
    for (const lost of ["pointerup", "pointercancel", "lostpointercapture", "keyup", "blur"]) button.addEventListener(lost, end, { signal });
  }
  for (const lost of ["blur", "pagehide"]) window.addEventListener(lost, end, { signal });
  document.addEventListener("visibilitychange", end, { signal });
  live.addEventListener("lost", end, { signal });
  live.addEventListener("refused", (event) => {
    end();
    const problem = /** @type {CustomEvent} */ (event).detail;
    void report(host, Promise.reject(new Error(problem.detail || problem.title)));
  }, { signal });
  stopper.addEventListener("press", end, { signal });
  signal.addEventListener("abort", end);

  painter.add(() => {
    const snapshot = store.snapshot;
    const runnable = !!snapshot && !store.stale && store.may("drive") && RUNNABLE.has(snapshot.state);
    if (!runnable && hold.running) end();
    for (const [button, way] of buttons) {
      const word = way > 0 ? snapshot?.travel?.up_word || "up" : snapshot?.travel?.down_word || "down";
      setText(need(button, "[data-word]"), word.charAt(0).toUpperCase() + word.slice(1));
      setEnabled(button, runnable);
      button.toggleAttribute("data-running", hold.running && Math.sign(hold.speed) === way);
    }
  }, signal);
}
