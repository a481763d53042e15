// @ts-check
/** Places in a sheet or in its figures: as steps, and as a person writes them, `mesh[0].face_mm`. */

/** @typedef {(string|number)[]} Path */
/** @typedef {Record<string, any>} Doc */
/** @typedef {{name: string, before: unknown, after: unknown}} Difference */

/** @param {string} name @returns {Path} */
export function pathOf(name) {
  return name.split(/[.[\]]+/).filter((step) => step !== "").map((step) => (/^\d+$/.test(step) ? Number(step) : step));
}

/** @param {Path} path */
export function nameOf(path) {
  return path.map((step, i) => (typeof step === "number" ? `[${step}]` : i ? `.${step}` : step)).join("");
}

/** RFC 6901 section 6: a JSON Pointer as a URI fragment. @param {string} pointer */
export function nameOfPointer(pointer) {
  const steps = pointer.replace(/^#\/?/, "").split("/").filter((step) => step !== "");
  return nameOf(pathOf(steps.map((step) => decodeURIComponent(step).replaceAll("~1", "/").replaceAll("~0", "~")).join(".")));
}

/** @param {any} doc @param {Path} path @returns {any} undefined where there is nothing */
export function valueAt(doc, path) {
  return path.reduce((part, step) => part?.[step], doc);
}

/** A copy with one value put in, or taken out when it is undefined; tables on the way are made.
 * @param {any} doc @param {Path} path @param {unknown} value @returns {any} */
export function withValue(doc, path, value) {
  const [step, ...rest] = path;
  if (step === undefined) return value;
  const copy = Array.isArray(doc) ? [...doc] : { ...doc };
  copy[step] = withValue(copy[step], rest, value);
  if (copy[step] === undefined) delete copy[step];
  return copy;
}

/** Every value of a document by its place; an empty table is a value too.
 * @param {any} part @param {Path} [path] @returns {[string, unknown][]} */
export function leaves(part, path = []) {
  const inner = typeof part === "object" && part !== null ? Object.entries(part) : [];
  if (!inner.length) return path.length ? [[nameOf(path), part]] : [];
  return inner.flatMap(([key, value]) => leaves(value, [...path, Array.isArray(part) ? Number(key) : key]));
}

/** @param {Doc} before @param {Doc} after @returns {Difference[]} */
export function differences(before, after) {
  const old = new Map(leaves(before));
  const now = new Map(leaves(after));
  const names = new Set([...old.keys(), ...now.keys()]);
  return [...names]
    .map((name) => ({ name, before: old.get(name), after: now.get(name) }))
    .filter((each) => JSON.stringify(each.before) !== JSON.stringify(each.after));
}

/** Lists count from 0 in a sheet, people from 1. @param {string} text */
export function inPlainWords(text) {
  return text.replace(/\bmesh(?:es)?\[(\d+)\]\.?/g, (whole, i) => `mesh ${Number(i) + 1}${whole.endsWith(".") ? " " : ""}`);
}
