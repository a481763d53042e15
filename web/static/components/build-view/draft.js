// @ts-check
import { differences, nameOf, withValue } from "./paths.js";

/** Far more steps back than anyone takes; a sheet is a few kB. */
const STEPS_KEPT = 200;

/**
 * The sheet being edited, the saved one it started from, and the way back. Emits `change`.
 * Documents are never changed in place.
 */
export class Draft extends EventTarget {
  /** @param {{saved: import("./paths.js").Doc, etag: string, doc?: import("./paths.js").Doc}} start */
  constructor({ saved, etag, doc = saved }) {
    super();
    this.saved = saved;
    this.etag = etag;
    this.doc = doc;
    this.changes = differences(saved, doc);
    /** @type {import("./paths.js").Doc[]} */
    this.past = [];
    /** @type {import("./paths.js").Doc[]} */
    this.future = [];
    this.lastEdited = "";
  }

  /** Typing on in one field is one step. @param {import("./paths.js").Path} path @param {unknown} value */
  edit(path, value) {
    const name = nameOf(path);
    this.step(withValue(this.doc, path, value), name === this.lastEdited);
    this.lastEdited = name;
  }

  /** @param {import("./paths.js").Doc} doc */
  replace(doc) {
    this.step(doc, false);
    this.lastEdited = "";
  }

  /** @param {import("./paths.js").Doc} doc @param {boolean} goesOn */
  step(doc, goesOn) {
    if (!goesOn) this.past = [...this.past, this.doc].slice(-STEPS_KEPT);
    this.future = [];
    this.set(doc);
  }

  undo() {
    const doc = this.past.pop();
    if (!doc) return;
    this.future.push(this.doc);
    this.lastEdited = "";
    this.set(doc);
  }

  redo() {
    const doc = this.future.pop();
    if (!doc) return;
    this.past.push(this.doc);
    this.lastEdited = "";
    this.set(doc);
  }

  /** Another sheet is the saved one now. @param {import("./paths.js").Doc} saved @param {string} etag */
  rebase(saved, etag) {
    this.saved = saved;
    this.etag = etag;
    this.set(this.doc);
  }

  /** @param {import("./paths.js").Doc} doc */
  set(doc) {
    this.doc = doc;
    this.changes = differences(this.saved, doc);
    this.dispatchEvent(new Event("change"));
  }
}
