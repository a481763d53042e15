// @ts-check
import { need, setEnabled, setHidden, setText } from "../../lib/dom.js";
import { Problem } from "../../lib/api.js";
import { angleDigits } from "../../lib/format.js";
import { readStored, writeStored } from "../../lib/preferences.js";
import { report } from "../../lib/report.js";
import { mountHoldToRun } from "../hold-to-run/hold-to-run.js";
import { Draft } from "../build-view/draft.js";
import { Cards } from "./cards.js";
import { Head } from "./head.js";
import { inserted } from "./lists.js";
import { mistakesByStep } from "./mistakes.js";
import { PlanDrawing } from "./plan-drawing.js";
import { Storing, download, plainName } from "./storing.js";

const KEY = "geartender-sequence";
/** Typing on is one change; the preview waits until it pauses. */
const PREVIEW_AFTER_MS = 400;

/** @typedef {{name: string, etag: string, saved: any, doc: any}} Opened */

/** One sequence being edited: its cards, its preview, saving it. Emits `saved` when what is stored has changed, and `closed`. */
export class Editor extends EventTarget {
  /** @param {HTMLElement} host @param {import("../../lib/page.js").Page} page @param {() => string[]} names of the stored sequences
   * @param {import("./run-bar.js").RunBar} runBar @param {AbortSignal} signal */
  constructor(host, page, names, runBar, signal) {
    super();
    this.host = host;
    this.page = page;
    this.signal = signal;
    this.names = names;
    this.life = new AbortController();
    /** @type {Draft} */
    this.draft = new Draft({ saved: {}, etag: "" });
    this.name = "";
    /** @type {Map<string, string>} */
    this.mistakes = new Map();
    this.timer = 0;
    this.asked = 0;
    this.storing = new Storing(page, signal);
    /** @type {import("./step-fields.js").Known} */
    this.known = {
      names: () => this.names().filter((other) => other !== this.name),
      servos: () => this.page.store.servos.map((servo) => servo.name),
    };
    this.head = new Head(need(host, "[data-head]"), this.known);
    this.plan = new PlanDrawing(need(host, "[data-preview]"), signal);
    this.nameField = /** @type {HTMLInputElement} */ (need(host, "[data-name]"));
    this.noteField = /** @type {HTMLInputElement} */ (need(host, "[data-note]"));
    this.wire(runBar);
    mountHoldToRun(need(host, "[data-hold-to-run]"), page, signal);
    const kept = readStored(KEY, null);
    if (kept) this.open(kept, false);
  }

  /** @param {string} name */
  button(name) {
    return /** @type {HTMLButtonElement} */ (need(this.host, `[data-${name}]`));
  }

  /** @param {import("./run-bar.js").RunBar} runBar */
  wire(runBar) {
    const { signal } = this;
    const on = (/** @type {string} */ name, /** @type {() => Promise<string>|string} */ act) =>
      this.button(name).addEventListener("click", () => this.tell(Promise.resolve().then(act)), { signal });
    on("save", () => this.save());
    on("undo", () => (this.draft.undo(), ""));
    on("redo", () => (this.draft.redo(), ""));
    on("run", () => this.run());
    on("download", () => download(this.name, this.draft.doc));
    on("delete", () => this.remove());
    on("close", () => (this.close(), ""));
    on("add-here", () => this.addHere());
    this.nameField.addEventListener("input", () => {
      this.name = plainName(this.nameField.value);
      this.keep();
      this.paint();
    }, { signal });
    this.noteField.addEventListener("input", () => this.draft.edit(["note"], this.noteField.value || undefined), { signal });
    runBar.addEventListener("position", (event) => this.follow(runBar.run, /** @type {CustomEvent} */ (event).detail), { signal });
    this.page.painter.add(() => setEnabled(this.button("add-here"), this.page.store.snapshot?.angle_deg != null && !this.page.store.stale), signal);
  }

  /** @param {Promise<string>} work */
  tell(work) {
    void report(this.host, work.then((words) => setText(need(this.host, "[data-status]"), words)));
  }

  /** @param {Opened} opened @param {boolean} [focus] */
  open({ name, etag, saved, doc }, focus = true) {
    this.life.abort();
    this.life = new AbortController();
    this.name = name;
    this.draft = new Draft({ saved, etag, doc });
    this.cards = new Cards(need(this.host, "[data-cards]"), this.draft, this.known, this.life.signal);
    this.draft.addEventListener("change", () => this.changed(), { signal: this.life.signal });
    this.nameField.value = name;
    this.mistakes = new Map();
    setHidden(this.host, false);
    this.changed();
    if (focus) {
      const title = need(this.host, "[data-editor-title]");
      title.focus({ preventScroll: true });
      title.scrollIntoView({ block: "start" });
    }
  }

  close() {
    this.life.abort();
    setHidden(this.host, true);
    writeStored(KEY, null);
    this.dispatchEvent(new Event("closed"));
  }

  changed() {
    setText(need(this.host, "[data-status]"), "");
    this.keep();
    this.paint();
    clearTimeout(this.timer);
    this.timer = setTimeout(() => void this.preview(), PREVIEW_AFTER_MS);
  }

  keep() {
    const { saved, etag, doc } = this.draft;
    writeStored(KEY, { name: this.name, saved, etag, doc });
  }

  paint() {
    const { draft } = this;
    const may = this.page.store.may("drive");
    const unsaved = draft.changes.length > 0 || draft.etag === "";
    setText(need(this.host, "[data-editor-title]"), this.name || "New sequence");
    setText(need(this.host, "[data-unsaved]"), draft.etag === "" ? "Not saved yet" : draft.changes.length ? "Unsaved changes" : "As saved");
    setEnabled(this.button("save"), may && unsaved && this.name !== "");
    setEnabled(this.button("undo"), draft.past.length > 0);
    setEnabled(this.button("redo"), draft.future.length > 0);
    setEnabled(this.button("run"), may && !unsaved);
    setEnabled(this.button("delete"), may && draft.etag !== "");
    this.nameField.disabled = draft.etag !== "";
    if (document.activeElement !== this.noteField) this.noteField.value = draft.doc.note ?? "";
    this.head.show(draft);
    this.cards?.show(this.mistakes);
  }

  /** Work out what the draft would do, and mark the steps that cannot be done. */
  async preview() {
    this.asked += 1;
    const mine = this.asked;
    try {
      const path = `sequences/${encodeURIComponent(this.name || "draft")}/preview`;
      const preview = await this.page.api.call("POST", path, { document: this.draft.doc }, { signal: this.life.signal });
      if (mine !== this.asked) return;
      this.mistakes = new Map();
      this.plan.show(preview);
      setHidden(need(this.host, "[data-problem]"), true);
    } catch (error) {
      if (mine !== this.asked || this.life.signal.aborted) return;
      this.takeMistakes(error);
    }
    this.paint();
  }

  /** @param {unknown} error */
  takeMistakes(error) {
    this.mistakes = new Map();
    if (!(error instanceof Problem)) return;
    const { steps, others } = mistakesByStep(error.errors);
    this.mistakes = steps;
    this.plan.show(null);
    const rest = others.length || !error.errors.length ? [error.message, ...others].join(" ") : "";
    if (rest) void report(this.host, Promise.reject(new Error(rest)));
  }

  /** @param {any} run @param {{position: number, seconds: number}|null} where */
  follow(run, where) {
    const preview = this.plan.preview;
    if (!where || !preview || run?.sequence !== this.name) return this.plan.cursor(null);
    const step = preview.steps[where.position];
    this.plan.cursor(step ? step.begin_s + Math.min(where.seconds, step.planned_s) : null);
  }

  addHere() {
    const { snapshot } = this.page.store;
    if (snapshot?.angle_deg == null) return "Its position is not known. Find home first.";
    const deg = Number(snapshot.angle_deg.toFixed(angleDigits(snapshot.deg_per_count)));
    const steps = this.draft.doc.steps ?? [];
    this.draft.replace(inserted(this.draft.doc, ["steps"], steps.length, { do: "move", to_deg: deg }));
    return `Added: move to ${deg}°.`;
  }

  async save() {
    try {
      return await this.stored(this.storing.put(this.name, this.draft));
    } catch (error) {
      if (error instanceof Problem && error.slug === "stale") return this.stored(this.storing.settle(this.name, this.draft));
      if (error instanceof Problem && error.errors.length) {
        this.takeMistakes(error);
        this.paint();
        return "Not saved: see the steps that are marked.";
      }
      throw error;
    }
  }

  /** @param {Promise<string>} work */
  async stored(work) {
    const words = await work;
    this.dispatchEvent(new Event("saved"));
    return words;
  }

  async run() {
    await this.page.api.call("POST", `${Storing.path(this.name)}/runs`, {}, { once: true });
    return "It runs.";
  }

  async remove() {
    if (await this.storing.remove(this.name, this.draft.etag)) {
      this.dispatchEvent(new Event("saved"));
      this.close();
    }
    return "";
  }
}
