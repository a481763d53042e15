// @ts-check
import { Problem } from "./api.js";

const ATTEMPT_TIMEOUT_MS = 1500;
const RETRY_MS = 250;

/** @param {{name: string}} item */
const nameOf = (item) => item.name;

/**
 * Sends Stop until it is answered. Goes by POST and by the socket at once; only the POST's answer counts.
 * Emits `press` when asked, `progress` whenever `phase` changes.
 */
export class Stopper extends EventTarget {
  /** @param {import("./api.js").Api} api */
  constructor(api) {
    super();
    this.api = api;
    /** @type {import("./live.js").Live|null} of the servo this page drives; until it is known Stop goes to all */
    this.live = null;
    /** @type {"idle"|"sent"|"retrying"|"answered"|"refused"} */
    this.phase = "idle";
    this.detail = "";
    this.category = 1;
    this.round = 0;
  }

  /** @param {0|1} category */
  async press(category) {
    this.round += 1;
    const round = this.round;
    this.category = category;
    this.dispatchEvent(new Event("press"));
    this.live?.send({ type: "stop", servo: this.live.servo, category });
    this.enter("sent");
    while (round === this.round) {
      const problem = await this.attempt(category);
      if (round !== this.round) return;
      if (!problem) return this.enter("answered");
      if (problem.status >= 400 && problem.status < 500) return this.enter("refused", problem.message);
      this.enter("retrying", problem.unreachable ? "" : problem.message);
      await new Promise((resolve) => setTimeout(resolve, RETRY_MS));
    }
  }

  /** @param {0|1} category @returns {Promise<Problem|null>} */
  async attempt(category) {
    try {
      /** @type {string[]} */
      const names = this.live ? [this.live.servo] : (await this.api.call("GET", "servos")).items.map(nameOf);
      const paths = names.map((name) => `servos/${encodeURIComponent(name)}/stop`);
      await Promise.all(paths.map((path) => this.api.call("POST", path, { category }, { timeoutMs: ATTEMPT_TIMEOUT_MS })));
      return null;
    } catch (error) {
      return /** @type {Problem} */ (error);
    }
  }

  /** @param {Stopper["phase"]} phase @param {string} detail */
  enter(phase, detail = "") {
    this.phase = phase;
    this.detail = detail;
    this.dispatchEvent(new Event("progress"));
  }
}
