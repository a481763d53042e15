// @ts-check
const KEY = "geartender-client";

/** A name of this tab for as long as it lives; `randomUUID` does not exist on plain HTTP. */
export function clientName() {
  const kept = sessionStorage.getItem(KEY);
  if (kept) return kept;
  const name = randomName();
  sessionStorage.setItem(KEY, name);
  return name;
}

export function randomName() {
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** What others see as the holder of the helm until the owner types a name of their own.
 * @param {string} client */
export function defaultLabel(client) {
  const kind = matchMedia("(pointer: coarse)").matches ? "Phone" : "Computer";
  return `${kind} ${client.slice(0, 4).toUpperCase()}`;
}
