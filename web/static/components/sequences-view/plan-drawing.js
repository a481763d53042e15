// @ts-check
import { html, setAttribute, svg } from "../../lib/dom.js";
import { duration, quantity } from "../../lib/format.js";
import { Plot } from "../build-view/drawings/plot.js";

const LETTER_REM = 0.75;
const HEADROOM = 1.15;

/** A preview drawn: the angle over time, and the torque with what bounds it. A line shows where a run is. */
export class PlanDrawing {
  /** @param {HTMLElement} host @param {AbortSignal} signal */
  constructor(host, signal) {
    this.host = host;
    /** @type {any} */
    this.preview = null;
    /** @type {{line: SVGElement, plot: Plot}[]} */
    this.cursors = [];
    const size = new ResizeObserver(() => this.draw());
    size.observe(host);
    signal.addEventListener("abort", () => size.disconnect());
  }

  /** @param {any} preview as the service gives it, or null */
  show(preview) {
    this.preview = preview;
    this.draw();
  }

  draw() {
    const width = Math.round(this.host.clientWidth);
    this.cursors = [];
    if (!this.preview || !width) return this.host.replaceChildren();
    const em = LETTER_REM * parseFloat(getComputedStyle(document.documentElement).fontSize);
    const figures = this.preview.servos.map((/** @type {any} */ servo) => this.figure(servo, width, em));
    this.host.replaceChildren(this.words(), ...figures, ...this.preview.notes.map((/** @type {string} */ note) => html("p", { class: "hint" }, note)));
  }

  words() {
    const { planned_s, steps_total, energy_j } = this.preview;
    return html("p", { "data-plan-words": "" }, `Takes ${duration(planned_s)} in ${steps_total} step${steps_total === 1 ? "" : "s"}, ${quantity(energy_j, "J", 0)}.`);
  }

  /** @param {any} servo @param {number} width @param {number} em */
  figure(servo, width, em) {
    const across = { least: 0, most: Math.max(this.preview.planned_s, 0.1), unit: "s" };
    const known = servo.path.filter((/** @type {any} */ point) => point.angle_deg !== null);
    const angles = known.map((/** @type {any} */ point) => point.angle_deg);
    const [low, high] = servo.limits_deg ?? [Math.min(0, ...angles), Math.max(1, ...angles)];
    const angle = new Plot(width, em, across, { least: Math.min(low, ...angles), most: Math.max(high, ...angles, low + 1), unit: "°" });
    angle.line(known.map((/** @type {any} */ point) => [point.t_s, point.angle_deg]), "thick");
    const most = HEADROOM * Math.max(servo.torque_limit_nm, servo.continuous_torque_nm ?? 0, servo.peak_torque_nm);
    const least = Math.min(0, ...servo.path.map((/** @type {any} */ point) => point.torque_nm));
    const torque = new Plot(width, em, across, { least, most, unit: "N·m" });
    torque.line(servo.path.map((/** @type {any} */ point) => [point.t_s, point.torque_nm]), "thick");
    torque.levels([
      { value: servo.torque_limit_nm, words: "stops itself", kind: "stop" },
      ...(servo.continuous_torque_nm === null ? [] : [{ value: servo.continuous_torque_nm, words: "for ever", kind: "chain" }]),
    ]);
    const words = this.servoWords(servo);
    for (const plot of [angle, torque]) {
      plot.svg.setAttribute("aria-label", words);
      const line = svg("path", { class: "line dashes", visibility: "hidden" });
      plot.svg.append(line);
      this.cursors.push({ line, plot });
    }
    return html("figure", { class: "sketch" }, angle.svg, torque.svg, html("figcaption", { class: "hint" }, words));
  }

  /** @param {any} servo */
  servoWords(servo) {
    const stands = servo.continuous_torque_nm === null ? "" : ` of ${quantity(servo.continuous_torque_nm, "N·m", 2)} for ever`;
    const charge = servo.runs_per_charge === null ? "" : ` A charge lasts for ${servo.runs_per_charge} runs.`;
    return `${servo.servo}: warms the motor like ${quantity(servo.rms_torque_nm, "N·m", 2)}${stands}; peak ${quantity(servo.peak_torque_nm, "N·m", 2)}; duty ${servo.duty_type}.${charge}`;
  }

  /** @param {number|null} seconds since the run began; null: no run */
  cursor(seconds) {
    for (const { line, plot } of this.cursors) {
      setAttribute(line, "visibility", seconds === null ? "hidden" : "visible");
      if (seconds === null) continue;
      const x = plot.x(Math.min(seconds, plot.across.most)).toFixed(1);
      setAttribute(line, "d", `M ${x} ${plot.top} V ${plot.bottom}`);
    }
  }
}
