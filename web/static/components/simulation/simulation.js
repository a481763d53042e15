// @ts-check
import { figure, quantity, readNumber } from "../../lib/format.js";
import { need, setEnabled, setHidden, setText } from "../../lib/dom.js";
import { report } from "../../lib/report.js";
import { mountGearTrain } from "../gear-train/gear-train.js";

const TRUTH_EVERY_MS = 500;

/** Under the demo only: the gear train as it turns, and troubles to try.
 * @type {import("../../lib/page.js").Mount} */
export function mountSimulation(host, page, signal) {
  const { api } = page;
  const drawer = /** @type {HTMLDetailsElement} */ (host);
  const troubles = need(host, "[data-troubles]");
  const done = need(host, "[data-trouble-done]");
  for (const control of /** @type {NodeListOf<HTMLButtonElement|HTMLInputElement>} */ (troubles.querySelectorAll("button, input"))) {
    setEnabled(control, page.store.may("drive"));
  }
  let train = new AbortController();
  /** @type {import("../../lib/types.js").Sheet|null} */
  let asked = null;

  /** @param {string} command @param {string} words */
  const send = (command, words) => {
    const sent = api.call("POST", "simulation", { command }).then(() => setText(done, `Done: ${words}.`));
    void report(troubles, sent);
  };

  for (const button of /** @type {NodeListOf<HTMLElement>} */ (host.querySelectorAll("[data-trouble]"))) {
    button.addEventListener("click", () => send(button.dataset.trouble ?? "", (button.textContent ?? "").toLowerCase()), { signal });
  }
  for (const form of /** @type {NodeListOf<HTMLElement>} */ (host.querySelectorAll("[data-trouble-form]"))) {
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const field = /** @type {HTMLInputElement} */ (need(form, "input"));
      const value = readNumber(field.value);
      const label = form.querySelector("label")?.textContent ?? "";
      if (value === null) void report(troubles, Promise.reject(new Error(`Type a number for "${label}".`)));
      else send(`${form.dataset.troubleForm} ${value}`, `${label.toLowerCase()} ${figure(value, 2)}`);
    }, { signal });
  }

  const look = async () => {
    if (!drawer.open) return;
    const truth = await api.call("GET", "simulation").catch(() => null);
    setText(need(host, "[data-truth]"), truth ? truthWords(truth) : "");
  };
  const timer = setInterval(look, TRUTH_EVERY_MS);
  signal.addEventListener("abort", () => clearInterval(timer));
  drawer.addEventListener("toggle", page.painter.ask, { signal });

  /** The train of the sheet in force, drawn anew when another one is. */
  const showTrain = async () => {
    asked = page.store.sheet;
    const figures = await api.call("GET", page.commands.at("figures"));
    train.abort();
    if (signal.aborted) return;
    train = new AbortController();
    mountGearTrain(need(host, "[data-train]"), page, figures.counts_per_motor_turn, () => drawer.open, train.signal);
  };
  page.store.addEventListener("change", () => {
    if (asked && page.store.sheet !== asked) showTrain().catch(() => undefined);
  }, { signal });
  signal.addEventListener("abort", () => train.abort());

  void (async () => {
    try {
      await api.call("GET", "simulation");
      if (!page.store.sheet) page.store.set({ sheet: await api.call("GET", page.commands.at("build")) });
      await showTrain();
      if (signal.aborted) return;
      setHidden(host, false);
    } catch {
      setHidden(host, true);
    }
  })();
}

/** @param {{output_deg: number, output_nm: number, current_a: number}} truth */
function truthWords({ output_deg, output_nm, current_a }) {
  const load = `${quantity(output_nm, "N·m", 2)} on it and ${quantity(current_a, "A", 2)} in the motor`;
  return `In truth the output stands at ${figure(output_deg, 2)}°, with ${load}.`;
}
