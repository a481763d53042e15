// @ts-check
import { need, setEnabled, setHidden, setText } from "../../lib/dom.js";
import { duration } from "../../lib/format.js";
import { report } from "../../lib/report.js";

const LOOK_MS = 100;
const UNDER_WAY = new Set(["queued", "running", "held"]);

/** The run that moves the servo: what it does, and holding, resuming and ending it.
 * Emits `position` with the position of its step and the seconds since that began, about ten times a second. */
export class RunBar extends EventTarget {
  /** @param {HTMLElement} host @param {import("../../lib/page.js").Page} page @param {AbortSignal} signal */
  constructor(host, page, signal) {
    super();
    this.host = host;
    this.page = page;
    /** @type {any} */
    this.run = null;
    /** @type {any} */
    this.step = null;
    this.stepSince = 0;
    const act = (/** @type {string} */ name, /** @type {string} */ verb) =>
      need(host, `[data-run-${name}]`).addEventListener("click", () => void report(host, this.post(verb)), { signal });
    act("hold", "hold");
    act("resume", "resume");
    act("end", "stop");
    page.live.addEventListener("run", (event) => this.take(/** @type {CustomEvent} */ (event).detail), { signal });
    const timer = setInterval(() => this.tick(), LOOK_MS);
    signal.addEventListener("abort", () => clearInterval(timer));
    const running = page.store.snapshot?.run;
    if (typeof running === "string") void report(host, page.api.call("GET", `runs/${running}`).then((run) => this.take({ run, step: run.steps.at(-1) ?? null })));
    this.paint();
  }

  get active() {
    return this.run !== null && UNDER_WAY.has(this.run.state);
  }

  /** @param {string} verb */
  async post(verb) {
    if (!this.run) return;
    this.take({ run: await this.page.api.call("POST", `runs/${this.run.id}/${verb}`, {}), step: null });
  }

  /** @param {{run: any, step: any}} news */
  take({ run, step }) {
    // An answer may come after the news of the socket that is newer: a run that has ended stays so.
    if (this.run?.id === run.id && !this.active && UNDER_WAY.has(run.state)) return;
    if (this.run?.id !== run.id) this.step = null;
    this.run = run;
    if (step) {
      if (step.position !== this.step?.position) this.stepSince = performance.now();
      this.step = step;
    }
    this.paint();
    this.tick();
  }

  tick() {
    const moving = this.active && this.run.state === "running" && this.step;
    if (moving) this.dispatchEvent(new CustomEvent("position", { detail: { position: this.step.position, seconds: (performance.now() - this.stepSince) / 1000 } }));
    else if (!this.active) this.dispatchEvent(new CustomEvent("position", { detail: null }));
  }

  paint() {
    const { run, step } = this;
    setHidden(this.host, run === null);
    if (!run) return;
    const of = run.steps_total ? `step ${Math.min(run.steps_begun, run.steps_total)} of ${run.steps_total}` : "";
    const what = this.active && step ? `, ${of}: ${step.do}` : "";
    const took = run.actual_s === null ? (run.planned_s === null ? "" : `, planned ${duration(run.planned_s)}`) : ` after ${duration(run.actual_s)}`;
    setText(need(this.host, "[data-run-words]"), `${run.sequence}: ${run.state}${what}${took}${run.reason ? `. ${run.reason}` : ""}`);
    setHidden(need(this.host, "[data-run-hold]"), run.state !== "running");
    const resume = /** @type {HTMLButtonElement} */ (need(this.host, "[data-run-resume]"));
    setHidden(resume, run.state !== "held");
    setEnabled(resume, this.page.store.may("drive"));
    setHidden(need(this.host, "[data-run-end]"), !this.active);
  }
}
