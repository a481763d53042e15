// @ts-check
import { html, need, setHidden, setText } from "../../lib/dom.js";
import { report } from "../../lib/report.js";
import { Api } from "../../lib/api.js";
import { showHealth } from "./health.js";
import { RunView, underWay } from "./run.js";

/** @typedef {import("./types.js").Run} Run */
/** @typedef {import("./types.js").Procedure} Procedure */

/** A step says something every few seconds; a person does not wait longer than this for it. */
const LOOK_EVERY_MS = 700;
/** @type {Record<string, string>} */
const BECAME = { done: "done", wrong: "found something wrong", stopped: "stopped", faulted: "stopped itself", running: "runs now", waiting: "waits for you" };

/** A guided path: the procedures, and one run at a time, which can be left and come back to. @type {import("../../lib/page.js").Mount} */
export function mountBenchView(section, page, signal) {
  const { api, store, painter, servo } = page;
  const list = need(section, "[data-procedures]");
  const host = need(section, "[data-bench-run]");
  /** @type {Procedure[]} */
  let procedures = [];
  /** @type {Run|null} */
  let run = null;
  let timer = 0;
  /** Of what was asked for, the newest whose answer is shown: one that comes late says what was true before. */
  let asked = 0;
  let shown = 0;

  const view = new RunView(host, (question, value) => {
    const id = run?.id;
    if (id) void report(section, latest(api.call("POST", `bench/runs/${id}/answer`, { question, value })));
  });

  const draw = () => {
    setHidden(host, run === null);
    setHidden(list, run !== null);
    setHidden(need(section, "[data-bench-intro]"), run !== null);
    if (run) view.show(run, procedures.find((one) => one.name === run?.procedure));
    else list.replaceChildren(...procedures.map((one) => card(one)));
  };

  /** @param {Run} now */
  const take = (now) => {
    if (signal.aborted) return;
    run = now;
    draw();
    clearTimeout(timer);
    if (underWay(now)) timer = setTimeout(() => void look(), LOOK_EVERY_MS);
  };

  /** @param {Promise<Run>} answer */
  const latest = async (answer) => {
    const number = ++asked;
    const now = await answer;
    if (number < shown) return;
    shown = number;
    take(now);
  };

  const look = async () => {
    if (!run || signal.aborted) return;
    try {
      await latest(api.call("GET", `bench/runs/${run.id}`, undefined, { signal }));
    } catch {
      if (!signal.aborted) timer = setTimeout(() => void look(), LOOK_EVERY_MS);
    }
  };

  /** Older versions of the measured values, to compare the newest with. */
  const offerVersions = async () => {
    const { items } = await api.call("GET", `bench/versions?servo=${encodeURIComponent(servo)}`, undefined, { signal });
    const older = items.slice(0, -1).reverse();
    against.replaceChildren(html("option", { value: "" }, "nothing"), ...older.map((/** @type {number} */ one) => html("option", { value: String(one) }, `version ${one}`)));
    setHidden(need(section, "[data-compare]"), !older.length);
    aim();
  };

  const open = async () => {
    const { items } = await api.call("GET", `bench?servo=${encodeURIComponent(servo)}`, undefined, { signal });
    procedures = items;
    const going = procedures.map((one) => one.last).find((last) => last && underWay(last));
    if (going) await latest(api.call("GET", `bench/runs/${going.id}`, undefined, { signal }));
    else draw();
    showHealth(need(section, "[data-health]"), await api.call("GET", `bench/health?servo=${encodeURIComponent(servo)}`, undefined, { signal }));
    await offerVersions();
  };

  /** @param {Procedure} one */
  const card = (one) => {
    const begin = html("button", { type: "button", class: "act", "data-begin": one.name }, `Begin ${one.title.toLowerCase()}`);
    begin.addEventListener("click", () => void report(section, latest(api.call("POST", `bench/${one.name}/runs`, { servo }))));
    const last = one.last;
    const became = last ? `Last: ${BECAME[last.state] ?? last.state}, ${new Date(last.began_at).toLocaleString()}.` : "Not done yet.";
    const see = html("button", { type: "button", class: "small" }, "See it");
    see.addEventListener("click", () => void report(section, latest(api.call("GET", `bench/runs/${last?.id}`))));
    return html("li", {}, html("h2", {}, one.title), html("p", {}, one.about), html("p", { class: "hint" }, became, ...(last ? [" ", see] : [])), html("p", {}, begin));
  };

  need(section, "[data-run-end]").addEventListener("click", () => {
    if (run) void report(section, latest(api.call("POST", `bench/runs/${run.id}/stop`, {})));
  }, { signal });
  need(section, "[data-run-back]").addEventListener("click", () => {
    run = null;
    void report(section, open());
  }, { signal });
  const link = /** @type {HTMLAnchorElement} */ (need(section, "[data-bench-report]"));
  const against = /** @type {HTMLSelectElement} */ (need(section, "[data-against]"));
  const aim = () => {
    link.href = `${Api.url("bench/report")}?servo=${encodeURIComponent(servo)}${against.value && `&against=${against.value}`}`;
  };
  against.addEventListener("change", aim, { signal });
  aim();
  const counts = need(section, "[data-run-counts]");
  painter.add(() => setText(counts, store.snapshot?.counts == null || store.stale ? "no news" : `${store.snapshot.counts} counts`), signal);
  signal.addEventListener("abort", () => {
    clearTimeout(timer);
    view.leave();
    list.replaceChildren();
  });
  void report(section, open());
}
