// @ts-check
/** Two minutes at 20 samples a second. */
export const STRIP_SECONDS = 120;
const CAPACITY = 2400;
/** Clocks drift and the service restarts: beyond this the servo's time is matched to ours anew. */
const RESYNC_S = 0.5;

/** What the strip chart remembers: a ring of fixed size, so a long watch never grows. */
export class Strip {
  constructor() {
    this.columns = Array.from({ length: 4 }, () => new Float64Array(CAPACITY));
    this.length = 0;
    this.next = 0;
    this.offset = NaN;
    this.latest = -Infinity;
  }

  /** @param {number} t seconds on the servo's clock @param {(number|null)[]} values angle, speed, torque */
  add(t, values) {
    const now = performance.now() / 1000;
    if (!(Math.abs(now - (t + this.offset)) < RESYNC_S)) this.offset = now - t;
    const at = t + this.offset;
    if (at <= this.latest) return;
    this.latest = at;
    [at, ...values].forEach((value, column) => {
      /** @type {Float64Array} */ (this.columns[column])[this.next] = value ?? NaN;
    });
    this.next = (this.next + 1) % CAPACITY;
    this.length = Math.min(this.length + 1, CAPACITY);
  }

  /** The last seconds, oldest first; a gap in the news stays a gap.
   * @param {number} seconds @param {number} end */
  since(seconds, end) {
    /** @type {(number|null)[][]} */
    const out = [[], [], [], []];
    const start = (this.next - this.length + CAPACITY) % CAPACITY;
    for (let i = 0; i < this.length; i += 1) {
      const index = (start + i) % CAPACITY;
      const at = /** @type {number} */ (this.columns[0]?.[index]);
      if (at < end - seconds) continue;
      const before = out[0]?.at(-1);
      if (typeof before === "number" && at - before > RESYNC_S) out.forEach((column, c) => column.push(c ? null : before + RESYNC_S / 2));
      this.columns.forEach((column, c) => {
        const value = /** @type {number} */ (column[index]);
        out[c]?.push(Number.isNaN(value) ? null : value);
      });
    }
    return out;
  }
}
