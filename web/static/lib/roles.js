// @ts-check
/** @typedef {import("./types.js").Role} Role */

/** What somebody is let in to do, after "let in to". @type {Record<Role, string>} */
export const LET_IN_TO = {
  watch: "watch and stop",
  drive: "drive, and to change sequences and the timetable",
  manage: "manage: to drive, change limits and let others in",
};

/** Shows what needs a role that this page was not let in for, and hides the rest. @param {ParentNode} root
 * @param {import("./store.js").Store} store */
export function sayWhatIsMissing(root, store) {
  for (const words of /** @type {NodeListOf<HTMLElement>} */ (root.querySelectorAll("[data-unless]"))) {
    words.hidden = store.may(/** @type {Role} */ (words.dataset.unless));
  }
}
