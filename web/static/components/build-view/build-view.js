// @ts-check
import { need, setEnabled, setHidden, setText } from "../../lib/dom.js";
import { report } from "../../lib/report.js";
import { Drawings } from "./drawings/drawings.js";
import { Comparing } from "./comparing.js";
import { FigureList } from "./figure-list.js";
import { Form } from "./form.js";
import { LiveFigures } from "./live-figures.js";
import { Saving } from "./saving.js";
import { draftOf } from "./keeping.js";
import { mountFiles } from "./files.js";
import { mountFindTrain } from "./find-train.js";
import { showGlance, showMistakes, showWarnings } from "./summary.js";
import { suggestionButtons } from "./suggestions.js";
import { mountPrinting } from "./printing.js";
import { mountWiring } from "../wiring/wiring.js";
import { defaultsOf } from "./why.js";

const OLD = "These are the figures of the last good sheet.";

/** The sheet to edit, and what follows from it while it is edited.
 * @type {import("../../lib/page.js").Mount} */
export function mountBuildView(section, page, signal) {
  void report(section, (async () => {
    const [schema, reasons, draft] = await Promise.all([
      page.api.call("GET", "build/schema"), page.api.call("GET", "figures/why"), draftOf(page, signal),
    ]);
    if (!signal.aborted) edit(section, page, signal, schema, reasons.items, draft);
  })());
}

/** @param {HTMLElement} section @param {import("../../lib/page.js").Page} page @param {AbortSignal} signal
 * @param {any} schema @param {import("./why.js").Reason[]} reasons @param {import("./draft.js").Draft} draft */
function edit(section, page, signal, schema, reasons, draft) {
  const live = new LiveFigures(page.api, signal);
  const form = new Form(need(section, "[data-sheet-form]"), schema, draft);
  const defaults = defaultsOf(schema);
  const feet = { "Limits worth setting": suggestionButtons(draft, () => live.figures) };
  const list = new FigureList(need(section, "[data-figure-list]"), feet, reasons, () => ({ doc: live.of ?? {}, figures: live.figures, defaults }));
  const drawings = new Drawings(list, signal);
  const comparing = new Comparing(need(section, "[data-compared]"), page.api, draft);
  const compare = (/** @type {boolean} */ open) => {
    void report(section, comparing.show(live.figures, open));
    paint();
  };
  const saving = new Saving(page, draft, () => compare(true), signal);
  const button = (/** @type {string} */ name) => /** @type {HTMLButtonElement} */ (need(section, `[data-${name}]`));
  const status = need(section, "[data-sheet-status]");
  const tell = (/** @type {Promise<string>} */ work) => void report(section, work.then((words) => setText(status, words)));

  const paint = () => {
    const { length } = draft.changes;
    setEnabled(button("save"), length > 0 && page.store.may("manage"));
    setEnabled(button("undo"), draft.past.length > 0);
    setEnabled(button("redo"), draft.future.length > 0);
    button("compare").setAttribute("aria-pressed", String(comparing.open));
    setText(need(section, "[data-unsaved]"), length ? `${length} unsaved change${length === 1 ? "" : "s"}` : "As saved");
    form.show(live.mistakes);
  };
  const paintFigures = () => {
    setHidden(need(section, "[data-old-word]"), live.current);
    setText(need(section, "[data-old-word]"), [live.figures ? OLD : "", live.trouble].join(" "));
    section.toggleAttribute("data-old-figures", !live.current);
    showGlance(need(section, "[data-glance]"), live);
    showMistakes(need(section, "[data-mistakes]"), live.mistakes, (name) => form.goTo(name));
    if (live.current) {
      showWarnings(need(section, "[data-warnings]"), live.figures.warnings);
      list.show(live.figures);
      drawings.show(live.figures, live.of ?? {});
      if (comparing.open) void report(section, comparing.show(live.figures, true));
    }
    paint();
  };

  button("save").addEventListener("click", () => tell(saving.save()), { signal });
  button("undo").addEventListener("click", () => draft.undo(), { signal });
  button("redo").addEventListener("click", () => draft.redo(), { signal });
  button("compare").addEventListener("click", () => compare(!comparing.open), { signal });
  mountFiles(section, page.api, draft, tell, signal);
  mountFindTrain(need(section, "[data-find-train]"), page.api, draft, (words) => setText(status, words), signal);
  mountWiring(section, /** @type {HTMLDetailsElement} */ (need(section, "[data-wiring]")), page.api, draft, signal);
  mountPrinting(need(section, "[data-printed]"), live, signal);
  live.addEventListener("change", paintFigures, { signal });
  draft.addEventListener("change", () => {
    setText(status, "");
    paint();
    live.later(draft.doc);
  }, { signal });
  void live.ask(draft.doc);
  paint();
}
