// @ts-check
import { Problem } from "./api.js";

const ASK_AGAIN_MS = 1000;
/** Whoever was let in never waits for so long: the service refuses wrong sessions by making them wait. */
const REFUSED_BY_WAITING_S = 1;
/** The socket of a phone ends so when it is revoked, or let in for something else. */
export const CLOSED_NOT_LET_IN = 4401;

/** Who this page is to the service, told to the store. Emits `out` when it is let in no longer, `role` when it is let in for
 * something else, `again` when it is asked to pair again. */
export class Access extends EventTarget {
  /** @param {import("./api.js").Api} api @param {import("./store.js").Store} store */
  constructor(api, store) {
    super();
    this.api = api;
    this.store = store;
    /** @type {Promise<void>|null} */
    this.asking = null;
    api.addEventListener("refused", () => void this.ask());
  }

  /** Asks until the service says whether this page is let in. */
  async enter() {
    for (;;) {
      await this.ask();
      if (this.store.admission !== "unknown") return;
      await new Promise((resolve) => setTimeout(resolve, ASK_AGAIN_MS));
    }
  }

  ask() {
    this.asking ??= this.look().finally(() => {
      this.asking = null;
    });
    return this.asking;
  }

  async look() {
    const { api, store } = this;
    if (store.admission === "out") return;
    try {
      /** @type {import("./types.js").Me} */
      const me = await api.call("GET", "me");
      const before = store.me?.role ?? me.role;
      store.set({ me, admission: "in", serviceAnswers: true });
      if (me.role !== before) this.dispatchEvent(new Event("role"));
    } catch (error) {
      if (!(error instanceof Problem)) throw error;
      store.set({ serviceAnswers: !error.unreachable });
      if (error.slug !== "unauthenticated" && error.retryAfterS < REFUSED_BY_WAITING_S) return;
      api.shut = true;
      store.set({ admission: "out" });
      this.dispatchEvent(new Event("out"));
    }
  }

  /** @param {import("./types.js").Me} me whom the service has just let in */
  paired(me) {
    this.api.shut = false;
    this.store.set({ me, admission: "in" });
  }

  pairAgain() {
    this.dispatchEvent(new Event("again"));
  }
}
