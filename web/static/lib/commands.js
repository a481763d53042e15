// @ts-check
/** What the page may ask of the servo. Each rejects with a `Problem` to be shown where the control is. */
export class Commands {
  /**
   * @param {import("./api.js").Api} api
   * @param {import("./store.js").Store} store
   * @param {string} servo
   */
  constructor(api, store, servo) {
    this.api = api;
    this.store = store;
    this.servo = servo;
  }

  /** @param {string} path */
  at(path) {
    return `servos/${encodeURIComponent(this.servo)}/${path}`;
  }

  async arm() {
    await this.haveHelm();
    this.store.takeSnapshot(await this.api.call("POST", this.at("arm"), {}));
  }

  async disarm() {
    this.store.takeSnapshot(await this.api.call("POST", this.at("disarm"), {}));
  }

  async reset() {
    this.store.takeSnapshot(await this.api.call("POST", this.at("reset"), {}));
  }

  async home() {
    await this.haveHelm();
    await this.api.call("POST", this.at("home"), {}, { once: true });
  }

  /** @param {number} deg */
  async moveTo(deg) {
    await this.haveHelm();
    await this.api.call("POST", this.at("moves"), { to_deg: deg, when_busy: "replace" }, { once: true });
  }

  /** @param {number} step */
  async moveBy(step) {
    const snapshot = this.store.snapshot;
    const from = (this.store.moving ? snapshot?.target_deg : null) ?? snapshot?.angle_deg ?? 0;
    await this.moveTo(this.within(from + step));
  }

  /** @param {number} deg the nearest angle inside the travel */
  within(deg) {
    const travel = this.store.snapshot?.travel;
    if (!travel || travel.endless) return deg;
    return Math.min(travel.max_deg ?? Infinity, Math.max(travel.min_deg ?? -Infinity, deg));
  }

  /** @param {number} speed share of the planned speed */
  async override(speed) {
    await this.api.call("PUT", this.at("override"), { speed });
  }

  /** @param {"host"|"pulse"} source */
  async lead(source) {
    await this.haveHelm();
    this.store.takeSnapshot(await this.api.call("PUT", this.at("source"), { source }));
  }

  /** @param {boolean} force */
  async takeHelm(force) {
    await this.api.call("POST", this.at("helm"), { force });
  }

  async giveHelm() {
    await this.api.call("DELETE", this.at("helm"));
  }

  /** A start takes a free helm; held by another, it is refused in words. */
  async haveHelm() {
    if (!this.store.snapshot?.helm?.yours) await this.takeHelm(false);
  }
}
