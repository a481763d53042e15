// @ts-check
import { STRIP_SECONDS, Strip } from "./strip.js";

/** @typedef {import("./types.js").Snapshot} Snapshot */

/** Half a second without news and nothing on the page may look live. */
export const STALE_AFTER_MS = 500;
const EVENTS_KEPT = 200;
/** Each may do all that the ones before it may. */
const ROLES = ["watch", "drive", "manage"];
const MOVING = new Set(["homing", "moving", "turning", "jogging", "stopping"]);

/**
 * Everything the page knows about the servo it drives. Emits `change` after every piece of news, and once more
 * when the news has grown stale.
 */
export class Store extends EventTarget {
  constructor() {
    super();
    /** @type {Snapshot[]} */
    this.servos = [];
    /** @type {Snapshot|null} */
    this.snapshot = null;
    /** @type {import("./types.js").Sheet|null} */
    this.sheet = null;
    /** @type {"connecting"|"open"|"lost"} */
    this.socket = "connecting";
    this.serviceAnswers = true;
    /** @type {import("./types.js").Me|null} who this page is to the service, or was */
    this.me = null;
    /** @type {"unknown"|"in"|"out"} */
    this.admission = "unknown";
    this.newsAt = performance.now();
    this.strip = new Strip();
    /** @type {{at: number|string, columns: (number|null)[][]}|null} */
    this.frozen = null;
    /** @type {{id: string, since: number}|null} */
    this.motion = null;
    /** @type {{at: number|string, text: string}[]} */
    this.events = [];
  }

  get moving() {
    return MOVING.has(this.snapshot?.state ?? "");
  }

  /** Whether this page was let in for that; when it is let in for something else, it is loaded anew.
   * @param {import("./types.js").Role} role */
  may(role) {
    return this.me !== null && ROLES.indexOf(this.me.role) >= ROLES.indexOf(role);
  }

  /** Angles may be commanded: let in to drive, armed, position known, nothing in the way. */
  get drivable() {
    const snapshot = this.snapshot;
    return !!snapshot && !this.stale && this.may("drive") && snapshot.homed && ["ready", "moving", "turning", "jogging"].includes(snapshot.state);
  }

  /** Where to draw the lever: its angle, or what it has moved by while its angle is not known. */
  get drawnDeg() {
    const snapshot = this.snapshot;
    return snapshot?.angle_deg ?? (snapshot?.counts ?? 0) * (snapshot?.deg_per_count ?? 0);
  }

  get ageMs() {
    const heard = performance.now() - this.newsAt;
    return this.snapshot?.state === "offline" ? Math.max(heard, (this.snapshot.age_s ?? 0) * 1000) : heard;
  }

  /** No news, or none for us; that the board is offline would still be news. */
  get silent() {
    return this.admission === "out" || performance.now() - this.newsAt > STALE_AFTER_MS;
  }

  get stale() {
    return !this.snapshot || this.snapshot.state === "offline" || this.silent;
  }

  /** @param {Snapshot} snapshot */
  takeSnapshot(snapshot) {
    const faultedBefore = this.snapshot?.fault;
    this.snapshot = snapshot;
    this.noteMotion();
    if (snapshot.fault && !faultedBefore && this.strip.length) {
      const end = this.strip.latest;
      this.frozen = { at: snapshot.fault.at, columns: this.strip.since(STRIP_SECONDS, end) };
    }
    this.heard();
  }

  /** @param {import("./types.js").Telemetry} telemetry */
  takeTelemetry({ t_s, servo: _servo, ...values }) {
    if (!this.snapshot) return;
    Object.assign(this.snapshot, values);
    this.strip.add(t_s, [values.angle_deg, values.speed_deg_s, values.torque_nm]);
    this.heard();
  }

  /** @param {{at: number|string, text: string}} event */
  takeEvent({ at, text }) {
    this.events = [...this.events, { at, text }].slice(-EVENTS_KEPT);
    this.changed();
  }

  /** @param {Partial<Pick<Store, "socket"|"serviceAnswers"|"sheet"|"servos"|"me"|"admission">>} values */
  set(values) {
    Object.assign(this, values);
    this.changed();
  }

  /** Time since this page first saw the motion that runs now, in seconds. */
  get motionElapsed() {
    return this.motion ? (performance.now() - this.motion.since) / 1000 : 0;
  }

  noteMotion() {
    const id = this.snapshot?.motion?.id;
    if (!id) this.motion = null;
    else if (this.motion?.id !== id) this.motion = { id, since: performance.now() };
  }

  heard() {
    this.newsAt = performance.now();
    this.changed();
  }

  changed() {
    this.dispatchEvent(new Event("change"));
  }
}
