// @ts-check
import { html, setHidden } from "../../lib/dom.js";
import { groupsOf } from "./groups.js";
import { listOf } from "./saving.js";

/** @typedef {import("./groups.js").Row} Row */

/** The draft beside the saved sheet: which fields differ, and figure by figure. */
export class Comparing {
  /** @param {HTMLElement} host @param {import("../../lib/api.js").Api} api @param {import("./draft.js").Draft} draft */
  constructor(host, api, draft) {
    this.host = host;
    this.api = api;
    this.draft = draft;
    /** @type {any} */
    this.saved = null;
    /** @type {unknown} the sheet that those figures are of */
    this.of = null;
  }

  get open() {
    return !this.host.hidden;
  }

  /** @param {any} figures of the draft @param {boolean} open */
  async show(figures, open) {
    setHidden(this.host, !open);
    if (!open || !figures) return;
    if (this.of !== this.draft.saved) {
      this.of = this.draft.saved;
      this.saved = await this.api.call("POST", "figures", this.draft.saved);
    }
    const { changes } = this.draft;
    const fields = changes.length ? listOf(changes) : html("p", {}, "The sheet is as saved.");
    this.host.replaceChildren(html("h2", { id: "compare-title" }, "Compared with the saved sheet"), fields, tableOf(this.saved, figures));
  }
}

/** @param {any} saved @param {any} edited */
function tableOf(saved, edited) {
  const before = rowsByPath(saved);
  const after = rowsByPath(edited);
  const rows = [...new Set([...before.keys(), ...after.keys()])].filter((path) => !path.startsWith("notes")).map((path) => {
    const old = before.get(path);
    const now = after.get(path);
    const name = [now?.part ?? old?.part, now?.label ?? old?.label].filter(Boolean).join(", ");
    return { name, old: old?.value ?? "none", now: now?.value ?? "none", differs: old?.value !== now?.value };
  });
  const differing = rows.filter((row) => row.differs);
  const body = differing.map(({ name, old, now }) => (
    html("tr", {}, html("th", { scope: "row" }, name), html("td", {}, old), html("td", {}, html("strong", {}, now)))
  ));
  const head = html("tr", {}, ...["Figure", "Saved", "Edited"].map((words) => html("th", { scope: "col" }, words)));
  const caption = html("caption", {}, `${differing.length} of ${rows.length} figures differ${differing.length ? ":" : "."}`);
  return html("table", { class: "comparison" }, caption, html("thead", {}, head), html("tbody", {}, ...body));
}

/** @param {any} figures @returns {Map<string, Row>} */
function rowsByPath(figures) {
  return new Map(groupsOf(figures).flatMap((group) => group.rows.map((row) => [row.path, row])));
}
