// @ts-check
import { html, need } from "../../lib/dom.js";
import { report } from "../../lib/report.js";

/** A change is drawn once the hand rests. */
const REDRAW_MS = 400;
const DIRECTIONS = { in: "to the board", out: "from the board", both: "both ways" };

/** @typedef {{part: string, terminal: string, gpio: number, direction: "in"|"out"|"both", parts: string[], why: string}} Connection */
/** @typedef {{connections: Connection[], power: string[], grounds: string[], cautions: string[]}} Wiring */

/** How the sheet that is being edited is to be wired; prints on a page of its own.
 * @param {HTMLElement} section the view, which prints this part alone when asked to
 * @param {HTMLDetailsElement} host @param {import("../../lib/api.js").Api} api
 * @param {{doc: unknown} & EventTarget} draft @param {AbortSignal} signal */
export function mountWiring(section, host, api, draft, signal) {
  const shown = need(host, "[data-wiring-shown]");
  let timer = 0;
  const draw = async () => {
    const [plan, picture] = await Promise.all([
      api.call("POST", "wiring", draft.doc, { signal }),
      api.ask("POST", "wiring", draft.doc, { signal, headers: { Accept: "image/svg+xml" } }),
    ]);
    shown.replaceChildren(...parts(plan, picture.text));
  };
  const later = () => {
    clearTimeout(timer);
    if (host.open) timer = setTimeout(() => void report(host, draw()), REDRAW_MS);
  };
  host.addEventListener("toggle", () => { if (host.open) void report(host, draw()); }, { signal });
  draft.addEventListener("change", later, { signal });
  signal.addEventListener("abort", () => clearTimeout(timer));
  need(host, "[data-print-wiring]").addEventListener("click", () => {
    section.dataset.prints = "wiring";
    print();
  }, { signal });
  addEventListener("afterprint", () => { delete section.dataset.prints; }, { signal });
}

/** @param {Wiring} plan @param {string} svg @returns {Node[]} */
function parts(plan, svg) {
  const picture = document.importNode(new DOMParser().parseFromString(svg, "image/svg+xml").documentElement, true);
  const rows = plan.connections.map((wire) => html("tr", {},
    html("th", { scope: "row" }, `${wire.part}, ${wire.terminal}`), html("td", {}, `GPIO ${wire.gpio}`),
    html("td", {}, DIRECTIONS[wire.direction]), html("td", {}, wire.parts.join(", ") || "nothing"), html("td", {}, wire.why)));
  const head = ["From", "Pin", "Signal", "In the wire", "Why"].map((word) => html("th", { scope: "col" }, word));
  return [
    html("ul", { class: "cautions" }, ...plan.cautions.map((text) => html("li", {}, text))),
    html("div", { class: "wide", role: "region", "aria-label": "Wiring drawing", tabindex: "0" }, picture),
    html("div", { class: "wide", role: "region", "aria-label": "Pin table", tabindex: "0" },
      html("table", {}, html("caption", {}, "Pins"), html("thead", {}, html("tr", {}, ...head)), html("tbody", {}, ...rows))),
    html("h3", {}, "Power and ground"),
    html("ul", {}, ...[...plan.power, ...plan.grounds].map((text) => html("li", {}, text))),
  ];
}
