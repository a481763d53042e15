// @ts-check
/**
 * One thing that was commanded or that happened.
 * @typedef {{id: number, at: string, zone: string, kind: string, servo: string|null, who: string, via: string, text: string,
 *   what: Record<string, unknown>, result: string|null, reason: string|null, cause: string|null,
 *   figures: Record<string, number>, late: boolean, has_trace: boolean}} Entry
 * @typedef {Record<string, string|string[]>} Query
 */

const PAGE = 50;
/** Pages of a search that may come back empty before the reader is asked whether to go on. */
const EMPTY_PAGES = 10;

/** The journal under one search: older entries when they are asked for, newer ones as they come, results as they become known. */
export class Feed {
  /** @param {import("../../lib/api.js").Api} api @param {Query} query @param {AbortSignal} signal */
  constructor(api, query, signal) {
    this.api = api;
    this.query = query;
    this.signal = signal;
    /** @type {string|null} */
    this.next = null;
    this.begun = false;
    this.newest = 0;
    /** @type {Set<number>} */
    this.underWay = new Set();
  }

  /** Whether there may be older entries. */
  get more() {
    return !this.begun || this.next !== null;
  }

  /** @returns {Promise<Entry[]>} the next older entries, newest first */
  async older() {
    if (!this.begun) await this.begin();
    for (let tries = 0; tries < EMPTY_PAGES && this.more; tries += 1) {
      const page = await this.ask(this.next === null ? {} : { cursor: this.next });
      this.begun = true;
      this.next = page.next;
      if (page.items.length) return this.noted(page.items);
    }
    return [];
  }

  /** @returns {Promise<Entry[]>} what came since, oldest first, and what has got its result */
  async newer() {
    const ended = await Promise.all([...this.underWay].map((id) => this.call(`journal/${id}`)));
    for (const entry of ended) if (entry.result !== null) this.underWay.delete(entry.id);
    const page = await this.ask({ after: String(this.newest) });
    this.newest = Math.max(this.newest, Number(page.next ?? 0));
    return [...ended.filter((entry) => entry.result !== null), ...this.noted(page.items)];
  }

  /** From which entry on news is news, whatever the search finds of it. */
  async begin() {
    const { items } = await this.call("journal?limit=1");
    this.newest = items.length ? items[0].id : 0;
  }

  /** @param {Entry[]} items */
  noted(items) {
    for (const entry of items) {
      this.newest = Math.max(this.newest, entry.id);
      if (entry.result === null) this.underWay.add(entry.id);
    }
    return items;
  }

  /** @param {Query} more */
  ask(more) {
    return this.call(`journal?${search({ ...this.query, ...more, limit: String(PAGE) })}`);
  }

  /** @param {string} path @returns {Promise<any>} */
  call(path) {
    return this.api.call("GET", path, undefined, { signal: this.signal });
  }
}

/** @param {Query} query @returns {string} */
export function search(query) {
  const found = new URLSearchParams();
  for (const [name, values] of Object.entries(query)) for (const value of [values].flat()) found.append(name, value);
  return found.toString();
}
