// @ts-check
import { Problem } from "../../lib/api.js";

/** After this long without a key the sheet is worked out. */
const PAUSE_MS = 300;

/**
 * The figures of the draft, worked out by the service. Emits `change`: then `figures` are those of the last good sheet,
 * `current` says whether that is the draft, and `mistakes` and `trouble` say why not.
 */
export class LiveFigures extends EventTarget {
  /** @param {import("../../lib/api.js").Api} api @param {AbortSignal} signal */
  constructor(api, signal) {
    super();
    this.api = api;
    /** @type {any} */
    this.figures = null;
    /** @type {import("./paths.js").Doc|null} the sheet that the figures are of */
    this.of = null;
    this.current = false;
    /** @type {import("../../lib/api.js").Mistake[]} */
    this.mistakes = [];
    this.trouble = "";
    this.timer = 0;
    this.asked = new AbortController();
    signal.addEventListener("abort", () => this.forget());
  }

  forget() {
    clearTimeout(this.timer);
    this.asked.abort();
  }

  /** @param {import("./paths.js").Doc} doc */
  later(doc) {
    this.forget();
    this.timer = setTimeout(() => void this.ask(doc), PAUSE_MS);
  }

  /** The latest question is the one that is answered. @param {import("./paths.js").Doc} doc */
  async ask(doc) {
    this.forget();
    const asked = new AbortController();
    this.asked = asked;
    try {
      this.figures = await this.api.call("POST", "figures", doc, { signal: asked.signal });
      this.of = doc;
      this.tell(true, [], "");
    } catch (error) {
      if (asked.signal.aborted) return;
      if (!(error instanceof Problem)) throw error;
      this.tell(false, error.errors, error.errors.length ? "" : error.message);
    }
  }

  /** @param {boolean} current @param {import("../../lib/api.js").Mistake[]} mistakes @param {string} trouble */
  tell(current, mistakes, trouble) {
    this.current = current;
    this.mistakes = mistakes;
    this.trouble = trouble;
    this.dispatchEvent(new Event("change"));
  }
}
