// @ts-check
const KEY = "geartender-preferences";

/** @typedef {{contrast: boolean, leftHanded: boolean, label: string}} Choices */

/** Choices of this browser; emits `change`. Reading and writing survive a browser that refuses storage. */
export class Preferences extends EventTarget {
  /** @param {string} label the name of this device until the owner types one */
  constructor(label) {
    super();
    /** @type {Choices} */
    this.choices = { contrast: matchMedia("(prefers-contrast: more)").matches, leftHanded: false, label, ...readStored(KEY, {}) };
  }

  /** @param {Partial<Choices>} choices */
  set(choices) {
    Object.assign(this.choices, choices);
    writeStored(KEY, this.choices);
    this.dispatchEvent(new Event("change"));
  }
}

/** @template T @param {string} key @param {T} otherwise @returns {T} */
export function readStored(key, otherwise) {
  try {
    return JSON.parse(localStorage.getItem(key) ?? "null") ?? otherwise;
  } catch {
    return otherwise;
  }
}

/** @param {string} key @param {unknown} value */
export function writeStored(key, value) {
  try {
    localStorage.setItem(key, JSON.stringify(value));
  } catch {
    return;
  }
}
