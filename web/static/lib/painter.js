// @ts-check
/** One part that fails must not keep the others from showing the truth.
 * @param {() => void} paint */
function attempt(paint) {
  try {
    paint();
  } catch (error) {
    reportError(error);
  }
}

/** Calls the registered paints at most once a frame, and only after something changed. */
export class Painter {
  constructor() {
    /** @type {Set<() => void>} */
    this.paints = new Set();
    this.asked = false;
    this.ask = () => {
      if (this.asked) return;
      this.asked = true;
      requestAnimationFrame(() => {
        this.asked = false;
        for (const paint of this.paints) attempt(paint);
      });
    };
  }

  /** @param {() => void} paint @param {AbortSignal} signal */
  add(paint, signal) {
    this.paints.add(paint);
    signal.addEventListener("abort", () => this.paints.delete(paint));
    this.ask();
  }
}
