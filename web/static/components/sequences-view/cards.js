// @ts-check
import { html, setHidden, setText } from "../../lib/dom.js";
import { nameOf, valueAt } from "../build-view/paths.js";
import { KINDS, wordsOf } from "./kinds.js";
import { inserted, moved, removed, shapeOf } from "./lists.js";
import { draggable } from "./reorder.js";
import { StepFields } from "./step-fields.js";

/** @typedef {import("../build-view/paths.js").Path} Path */

/** The steps as cards: made anew when another step is there, else only their values change. */
export class Cards {
  /** @param {HTMLElement} host @param {import("../build-view/draft.js").Draft} draft
   * @param {import("./step-fields.js").Known} known @param {AbortSignal} signal */
  constructor(host, draft, known, signal) {
    this.host = host;
    this.draft = draft;
    this.known = known;
    this.signal = signal;
    this.shape = "";
    /** @type {{fields: StepFields, title: HTMLElement, mistake: HTMLElement, path: Path}[]} */
    this.cards = [];
    /** @type {string|null} the control that gets the focus once the cards are there again */
    this.focusNext = null;
  }

  /** @param {Map<string, string>} mistakes by the place of the step */
  show(mistakes) {
    const steps = this.draft.doc.steps ?? [];
    const shape = `${shapeOf(steps)}|${this.known.names().join()}`;
    if (shape !== this.shape) {
      this.shape = shape;
      this.cards = [];
      this.host.replaceChildren(this.list(steps, ["steps"], false));
    }
    for (const { fields, title, mistake, path } of this.cards) {
      fields.sync();
      setText(title, wordsOf(fields.step));
      const text = mistakes.get(nameOf(path)) ?? "";
      setText(mistake, text);
      setHidden(mistake, !text);
    }
    if (this.focusNext) {
      const control = this.host.querySelector(this.focusNext);
      if (control instanceof HTMLElement) control.focus();
      this.focusNext = null;
    }
  }

  /** @param {import("./kinds.js").Step[]} steps @param {Path} path @param {boolean} movesOnly */
  list(steps, path, movesOnly) {
    const list = html("ol", { class: "cards", "aria-label": path.length > 1 ? "Steps within" : "Steps" });
    list.append(...steps.map((step, at) => this.card(step, path, at, steps.length)));
    return html("div", { class: "card-list" }, list, this.adding(path, steps.length, movesOnly));
  }

  /** @param {import("./kinds.js").Step} step @param {Path} list @param {number} at @param {number} count */
  card(step, list, at, count) {
    const path = [...list, at];
    const name = nameOf(path);
    const card = html("li", { class: "card", "data-card": name });
    const handle = html("span", { class: "handle", "aria-hidden": "true", title: "Drag to another place" }, "≡");
    const title = html("span", { class: "card-title" });
    const fields = new StepFields(this.draft, path, this.known);
    const mistake = html("p", { class: "mistake", hidden: "" });
    const number = at + 1;
    const button = (/** @type {string} */ sign, /** @type {string} */ words, /** @type {boolean} */ enabled, /** @type {() => void} */ act) => {
      const made = html("button", { type: "button", class: "small", "aria-label": `${words} step ${number}`, "data-act": words }, sign);
      made.disabled = !enabled;
      made.addEventListener("click", act);
      return made;
    };
    const moveTo = (/** @type {number} */ to, /** @type {string} */ act) => {
      this.shape = "";
      this.focusNext = `[data-card="${nameOf([...list, to])}"] > .card-head [data-act="${act}"]:not(:disabled), [data-card="${nameOf([...list, to])}"] > .card-head button:not(:disabled)`;
      this.draft.replace(moved(this.draft.doc, list, at, to));
    };
    draggable(handle, card, (to) => moveTo(to, "Move up"), this.signal);
    card.append(
      html("div", { class: "card-head" }, handle, title,
        button("↑", "Move up", at > 0, () => moveTo(at - 1, "Move up")),
        button("↓", "Move down", at < count - 1, () => moveTo(at + 1, "Move down")),
        button("Copy", "Copy", true, () => this.draft.replace(inserted(this.draft.doc, list, at + 1, structuredClone(valueAt(this.draft.doc, path))))),
        button("×", "Remove", true, () => {
          this.focusNext = `[data-add="${nameOf(list)}"]`;
          this.draft.replace(removed(this.draft.doc, list, at));
        })),
      fields.element, mistake);
    if (KINDS[step.do]?.holds) card.append(this.list(step.steps ?? [], [...path, "steps"], step.do === "together"));
    this.cards.push({ fields, title, mistake, path });
    return card;
  }

  /** The row that adds a step to the end of a list. @param {Path} list @param {number} count @param {boolean} movesOnly */
  adding(list, count, movesOnly) {
    const kinds = Object.entries(KINDS).filter(([kind]) => !movesOnly || kind === "move");
    const choose = html("select", { "aria-label": "Kind of step", "data-add": nameOf(list) }, ...kinds.map(([kind, { words }]) => html("option", { value: kind }, words)));
    const add = html("button", { type: "button", "data-add-step": nameOf(list) }, "Add step");
    add.addEventListener("click", () => {
      const made = KINDS[choose.value]?.make();
      if (!made) return;
      this.focusNext = `[data-card="${nameOf([...list, count])}"] input, [data-card="${nameOf([...list, count])}"] select, [data-add-step="${nameOf(list)}"]`;
      this.draft.replace(inserted(this.draft.doc, list, count, made));
    });
    return html("div", { class: "row adding" }, choose, add);
  }
}
