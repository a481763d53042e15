// @ts-check
const KEY = "geartender-client";
/** The service takes at most 64 characters, all of them printable ASCII. */
const LABEL_MAX = 40;

/** A name of this tab for as long as it lives: the device's label, which others see as the holder of the helm,
 * and enough chance to tell two tabs apart.
 * @param {string} label */
export function clientName(label) {
  const kept = sessionStorage.getItem(KEY);
  if (kept) return kept;
  const name = `${plain(label) || defaultLabel()} ${randomName(3)}`;
  sessionStorage.setItem(KEY, name);
  return name;
}

/** The next load of this tab takes a new name. */
export function forgetClientName() {
  sessionStorage.removeItem(KEY);
}

/** `randomUUID` does not exist on plain HTTP. @param {number} bytes */
export function randomName(bytes = 12) {
  return Array.from(crypto.getRandomValues(new Uint8Array(bytes)), (byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** What others see until the owner types a name. */
export function defaultLabel() {
  return matchMedia("(pointer: coarse)").matches ? "Phone" : "Computer";
}

/** @param {string} label */
function plain(label) {
  return label.normalize("NFKD").replace(/[^\x20-\x7e]/g, "").trim().slice(0, LABEL_MAX);
}
