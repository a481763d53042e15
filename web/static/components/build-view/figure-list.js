// @ts-check
import { FigureGroup } from "./figure-group.js";
import { GROUPS, groupsOf } from "./groups.js";

/** Open from the start: what one looks at first. */
const OPEN_FIRST = new Set(["Speed and torque", "Train"]);

/** All figures, group by group. Each group has a place for its drawing. */
export class FigureList {
  /** @param {HTMLElement} host @param {Record<string, HTMLElement>} feet what stands under a group
   * @param {import("./why.js").Reason[]} reasons @param {() => import("./why.js").Known} known */
  constructor(host, feet, reasons, known) {
    this.host = host;
    this.feet = feet;
    this.reasons = new Map(reasons.map((reason) => [reason.figure, reason]));
    this.known = known;
    /** @type {Map<string, FigureGroup>} */
    this.groups = new Map();
    for (const { title } of GROUPS) this.group(title);
  }

  /** @param {any} figures */
  show(figures) {
    const shown = groupsOf(figures);
    for (const group of shown) this.group(group.title).show(group);
    for (const [title, group] of this.groups) group.element.hidden = !shown.some((each) => each.title === title);
  }

  /** @param {string} title @returns {FigureGroup} */
  group(title) {
    let group = this.groups.get(title);
    if (!group) {
      group = new FigureGroup(title, this.reasons, this.known);
      group.element.append(...(this.feet[title] ? [this.feet[title]] : []));
      group.element.open = OPEN_FIRST.has(title);
      this.groups.set(title, group);
      this.host.append(group.element);
    }
    return group;
  }
}
