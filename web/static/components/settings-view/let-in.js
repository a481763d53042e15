// @ts-check
import { html, need, setHidden } from "../../lib/dom.js";
import { report } from "../../lib/report.js";
import { LET_IN_TO } from "../../lib/roles.js";
import { question } from "../question/question.js";
import { anyway } from "./anyway.js";
import { credentialWords } from "./words.js";

/** @typedef {import("../../lib/types.js").Credential} Credential @typedef {import("../../lib/types.js").Role} Role */

/** A phone that has just been paired is seen within this time. */
const LOOK_EVERY_MS = 3000;
/** What a role is for, beside its name. @type {Record<Role, string>} */
const MEANING = { watch: "sees everything, and may stop", drive: "moves it, and changes sequences and the timetable", manage: "drives, changes limits and lets others in" };
const ROLES = /** @type {Role[]} */ (["watch", "drive", "manage"]);

/** The phones and keys that are let in. Emits `paired` with the name of each phone that comes to them. */
export class LetIn extends EventTarget {
  /** @param {HTMLElement} host @param {import("../../lib/page.js").Page} page @param {AbortSignal} signal */
  constructor(host, page, signal) {
    super();
    this.host = host;
    this.page = page;
    this.signal = signal;
    /** @type {Set<string>|null} ids of those seen before */
    this.seen = null;
    this.shown = "";
    const timer = setInterval(() => {
      if (!document.hidden) void this.look();
    }, LOOK_EVERY_MS);
    signal.addEventListener("abort", () => clearInterval(timer));
    void report(host, this.read());
  }

  async look() {
    const fresh = await this.read().then(() => true, () => false);
    this.host.toggleAttribute("data-list-old", !fresh);
    setHidden(need(this.host, "[data-old]"), fresh);
  }

  async read() {
    /** @type {Credential[]} */
    const items = (await this.page.api.call("GET", "credentials")).items;
    if (this.signal.aborted) return;
    const { seen } = this;
    this.seen = new Set(items.map((one) => one.id));
    const rows = items.map((one) => ({ one, words: credentialWords(one, Date.now()) }));
    const shown = JSON.stringify(rows.map(({ one, words }) => [one.id, one.name, words, one.helm]));
    if (shown !== this.shown) {
      const focused = /** @type {HTMLElement|null} */ (document.activeElement)?.dataset.for;
      this.shown = shown;
      need(this.host, "[data-let-in]").replaceChildren(...rows.map(({ one, words }) => this.row(one, words)));
      if (focused) /** @type {HTMLElement|null} */ (this.host.querySelector(`[data-for="${focused}"]`))?.focus();
    }
    for (const one of items) {
      if (seen && one.kind === "phone" && !seen.has(one.id)) this.dispatchEvent(new CustomEvent("paired", { detail: one.name }));
    }
  }

  /** @param {Credential} one @param {string} words */
  row(one, words) {
    const who = html("div", { class: "who" },
      html("p", {}, html("strong", one.valid ? {} : { class: "over" }, one.name), one.you ? " (this device)" : "", ...one.helm.flatMap((servo) => [" ", html("span", { "data-helm": "" }, `holds the helm of ${servo}`)])),
      html("p", { class: "hint" }, words));
    const button = (/** @type {string} */ verb, /** @type {() => Promise<unknown>} */ act) => {
      const made = html("button", { type: "button", class: "small", "aria-label": `${verb} ${one.name}`, "data-for": `${verb}-${one.id}` }, verb);
      made.addEventListener("click", () => void report(this.host, act().then(() => this.read())));
      return made;
    };
    const acts = one.you ? [] : [button("Change role", () => this.changeRole(one)), button("Revoke", () => this.revoke(one))];
    return html("li", { "data-credential": one.id }, who, html("div", { class: "row" }, ...acts));
  }

  /** @param {Credential} one */
  async changeRole(one) {
    const others = ROLES.filter((role) => role !== one.role).map((role) => ({ answer: role, words: role.charAt(0).toUpperCase() + role.slice(1) }));
    const role = await question(this.page, `What may ${one.name} do?`, [
      html("p", {}, `Now it is let in to ${LET_IN_TO[one.role]}. Another role ends what it has open: what it moves stops now.`),
      html("ul", { class: "changes" }, ...others.map(({ answer, words }) => html("li", {}, `${words}: ${MEANING[/** @type {Role} */ (answer)]}`))),
    ], [...others, { answer: "", words: "Leave it", main: true }], this.signal);
    if (role) await anyway(this.page, "PUT", `credentials/${encodeURIComponent(one.id)}`, { role }, this.signal);
  }

  /** @param {Credential} one */
  async revoke(one) {
    const holds = one.helm.length ? " It holds the helm: what it moves stops now." : "";
    const back = one.kind === "phone" ? "It can neither see nor stop the lever any more. To come back it needs a new code." : "The script that has it is refused from now on. This key never works again.";
    const answer = await question(this.page, `Revoke ${one.name}?`, [html("p", {}, `It is let in no longer, at once.${holds} ${back}`)],
      [{ answer: "revoke", words: "Revoke it" }, { answer: "", words: "Keep it", main: true }], this.signal);
    if (answer) await anyway(this.page, "DELETE", `credentials/${encodeURIComponent(one.id)}`, undefined, this.signal);
  }
}
