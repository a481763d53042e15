// @ts-check
import { html, setText } from "../../lib/dom.js";
import { plotFigure } from "./plot.js";

/** A knob that shows what it would do before anything moves: the move as it was measured and as the model predicts it, and the
 * margins. @param {string} text @param {import("./types.js").Range} range @param {(value: number) => void} answer
 * @returns {HTMLElement[]} */
export function knob(text, range, answer) {
  const [calm, quick] = range.ends;
  const slider = html("input", { id: "bench-knob", type: "range", min: String(range.low), max: String(range.high), step: String(range.step) });
  slider.value = String(range.start);
  const stands = html("output", { for: "bench-knob" });
  const shown = html("div", { class: "knob-shown", "aria-live": "polite" });
  const draw = () => {
    const at = nearest(range.previews, Number(slider.value));
    slider.setAttribute("aria-valuetext", `${slider.value} of ${range.high}, from ${calm} to ${quick}`);
    setText(stands, slider.value);
    shown.replaceChildren(plotFigure({ title: `The same move at ${slider.value}`, x_label: "s", y_label: "° off", dots: false,
      series: { measured: range.measured, predicted: at.curve } }), figures(at));
  };
  /** @param {string} words @param {number} way */
  const nudge = (words, way) => {
    const made = html("button", { type: "button" }, words);
    made.addEventListener("click", () => {
      if (way > 0) slider.stepUp();
      else slider.stepDown();
      draw();
    });
    return made;
  };
  slider.addEventListener("input", draw);
  const go = html("button", { type: "button", class: "act" }, "Try it");
  go.addEventListener("click", () => answer(Number(slider.value)));
  draw();
  return [html("label", { for: "bench-knob" }, text), html("p", { class: "knob-row" }, slider, stands),
    html("p", { class: "row" }, nudge(`− ${calm}er`, -1), nudge(`+ ${quick}er`, 1)), shown, html("p", { class: "row" }, go)];
}

/** @param {import("./types.js").Preview[]} previews @param {number} position */
const nearest = (previews, position) =>
  previews.reduce((best, one) => (Math.abs(one.position - position) < Math.abs(best.position - position) ? one : best));

/** @param {import("./types.js").Preview} at */
function figures(at) {
  /** @type {[string, string][]} */
  const rows = [["Predicted error (rms)", `${at.rms_deg.toPrecision(2)}°`], ["Largest", `${at.largest_deg.toPrecision(2)}°`],
    ["Largest sensitivity, Ms", at.ms.toFixed(2)], ["Gain margin", `× ${at.gain_margin.toFixed(1)}`], ["Phase margin", `${at.phase_margin_deg.toFixed(0)}°`]];
  return html("dl", { class: "knob-figures" }, ...rows.flatMap(([name, value]) => [html("dt", {}, name), html("dd", {}, value)]));
}
