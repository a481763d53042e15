// @ts-check
import { html } from "../../lib/dom.js";
import { knob } from "./knob.js";

/** What a step is about to do, and its bounds. @param {import("./types.js").Announcement} said */
export function announced(said) {
  /** @type {[string, string][]} */
  const bounds = said.moves_deg
    ? [["Moves at most", `${said.moves_deg.toFixed(0)}°`], ["At most", `${said.speed_deg_s.toFixed(0)}°/s`],
      ["With at most", `${said.torque_nm.toFixed(2)} N·m`], ["For at most", `${said.time_s.toFixed(0)} s`]]
    : [["Driven", "not at all"]];
  return html("div", { class: "announced" }, html("p", {}, said.text),
    html("dl", {}, ...bounds.flatMap(([name, value]) => [html("dt", {}, name), html("dd", {}, value)])));
}

/** The controls that answer a question. @param {import("./types.js").Question} asked @param {(value: unknown) => void} answer
 * @returns {HTMLElement[]} */
export function controls(asked, answer) {
  /** @param {string} words @param {unknown} value @param {string} [kind] */
  const button = (words, value, kind) => {
    const made = html("button", { type: "button", ...(kind && { class: kind }) }, words);
    made.addEventListener("click", () => answer(value));
    return made;
  };
  if (asked.kind === "go") return [html("p", { class: "row" }, button("Go on", null, "act"))];
  if (asked.range) return knob(asked.text, asked.range, answer);
  const leave = asked.optional ? [button("Leave it out", null)] : [];
  if (asked.kind === "choice") {
    return [html("p", {}, asked.text), html("p", { class: "row" }, ...asked.choices.map((choice) => button(capital(choice), choice)), ...leave)];
  }
  const field = html("input", { id: "bench-number", inputmode: "decimal", autocomplete: "off" });
  const send = html("button", { type: "button", class: "act" }, "Answer");
  send.addEventListener("click", () => {
    const value = Number(field.value.trim().replace(",", "."));
    if (field.value.trim() !== "" && Number.isFinite(value)) answer(value);
    else field.focus();
  });
  field.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    send.click();
  });
  return [html("label", { for: "bench-number" }, asked.text), html("p", { class: "with-unit" }, field, html("span", {}, asked.unit)),
    html("p", { class: "row" }, send, ...leave)];
}

/** @param {string} words */
const capital = (words) => words.charAt(0).toUpperCase() + words.slice(1);
