// @ts-check
import { html, need, setEnabled, setHidden, setText } from "../../lib/dom.js";
import { report } from "../../lib/report.js";
import { question } from "../question/question.js";
import { dayStrip } from "./day-strip.js";
import { showEntryForm } from "./entry-form.js";
import { plainName } from "./storing.js";

const DAY_MS = 86_400_000;

/** When sequences run by themselves: as a list and as a strip of the next 24 hours. */
export class Timetable {
  /** @param {HTMLElement} host @param {import("../../lib/page.js").Page} page @param {() => string[]} names of the sequences @param {AbortSignal} signal */
  constructor(host, page, names, signal) {
    this.host = host;
    this.page = page;
    this.names = names;
    this.signal = signal;
    this.form = /** @type {HTMLFormElement} */ (need(host, "[data-entry-form]"));
    /** @type {any} */
    this.found = null;
    /** @type {import("./day-strip.js").Mark[]} */
    this.marks = [];
    const fresh = /** @type {HTMLButtonElement} */ (need(host, "[data-new-entry]"));
    setEnabled(fresh, page.store.may("drive"));
    fresh.addEventListener("click", () => this.edit("", {}, ""), { signal });
    const size = new ResizeObserver(() => this.draw());
    size.observe(need(host, "[data-day]"));
    signal.addEventListener("abort", () => size.disconnect());
  }

  /** A pattern comes with a time that suits it. @param {string} name @param {Record<string, unknown>} entry */
  suggest(name, entry) {
    this.suggested = { name, entry };
  }

  async read() {
    this.found = await this.page.api.call("GET", "timetable");
    const { items, clock_right, unattended, zone } = this.found;
    need(this.host, "[data-entries]").replaceChildren(...items.map((/** @type {any} */ item) => this.row(item)));
    setHidden(need(this.host, "[data-entries-empty]"), items.length > 0);
    const alone = unattended.includes(this.page.servo)
      ? "The owner has decided that it may arm and find home by itself."
      : "It runs only while somebody has left the servo armed and homed: unattended is off in the configuration.";
    setText(need(this.host, "[data-timetable-words]"), `Times are those of ${zone}. ${alone}${clock_right ? "" : " The clock is not known to be right yet, so nothing runs."}`);
    this.marks = await this.nextDay(items);
    this.draw();
  }

  /** @param {any[]} items @returns {Promise<import("./day-strip.js").Mark[]>} */
  async nextDay(items) {
    const end = Date.now() + DAY_MS;
    const lists = await Promise.all(items.filter((item) => item.next).map(async ({ name }) => {
      const slots = (await this.page.api.call("GET", `timetable/${name}/next?number=48`)).items;
      return slots.map((/** @type {any} */ slot) => ({ name, at: Date.parse(slot.at) }));
    }));
    return lists.flat().filter((mark) => mark.at <= end);
  }

  draw() {
    const place = need(this.host, "[data-day]");
    const width = Math.round(place.clientWidth);
    if (!this.found || !width) return;
    const { sun, zone } = this.found;
    const known = sun && { rise: sun.rise && Date.parse(sun.rise), set: sun.set && Date.parse(sun.set) };
    const picture = dayStrip(width, Date.now(), zone, known, this.marks);
    const words = this.marks.length ? `Due in the next 24 hours: ${this.marks.map((mark) => `${mark.name} at ${this.clock(mark.at)}`).slice(0, 12).join(", ")}.` : "Nothing is due in the next 24 hours.";
    picture.setAttribute("aria-label", words);
    place.replaceChildren(picture, html("figcaption", { class: "hint" }, words));
  }

  /** @param {number} at */
  clock(at) {
    return new Intl.DateTimeFormat([], { hour: "2-digit", minute: "2-digit", hourCycle: "h23", timeZone: this.found.zone }).format(at);
  }

  /** @param {any} item */
  row({ name, etag, document, next, waits }) {
    /** @type {Record<string, string>} */
    const fixed = this.page.store.may("drive") ? {} : { disabled: "" };
    const on = html("input", { type: "checkbox", "aria-label": `${name} is on`, ...fixed });
    on.checked = document.enabled !== false;
    on.addEventListener("change", () => this.tell(this.put(name, { ...document, enabled: on.checked }, etag)));
    const open = html("button", { type: "button", class: "stored-name" }, name);
    open.addEventListener("click", () => this.edit(name, document, etag));
    const due = waits ? `waits: ${waits}` : next ? `next ${next.local.slice(0, 16).replace("T", " ")} (${next.local.slice(19)})` : "never";
    const remove = html("button", { type: "button", class: "small", "aria-label": `Delete ${name}`, ...fixed }, "×");
    remove.addEventListener("click", () => this.tell(this.remove(name, etag)));
    return html("li", {}, on, open, html("span", { class: "hint" }, `${document.sequence}, ${due}`), remove);
  }

  /** @param {string} name @param {any} entry @param {string} etag */
  edit(name, entry, etag) {
    const { suggested } = this;
    const fresh = name === "" && suggested && this.names().includes(suggested.name);
    const start = fresh ? { sequence: suggested.name, ...suggested.entry } : entry;
    const known = { sequences: this.names(), servos: this.page.store.servos.map((servo) => servo.name), zone: this.found?.zone ?? "", may: this.page.store.may("drive") };
    showEntryForm(this.form, name, start, known, {
      save: (typed, made) => this.tell(this.put(plainName(typed), made, etag).then(() => this.leave())),
      cancel: () => this.leave(),
    });
  }

  leave() {
    setHidden(this.form, true);
    need(this.host, "[data-new-entry]").focus();
  }

  /** @param {Promise<unknown>} work */
  tell(work) {
    void report(this.host, work.finally(() => this.read()));
  }

  /** @param {string} name @param {any} entry @param {string} etag */
  async put(name, entry, etag) {
    /** @type {Record<string, string>} */
    const headers = etag ? { "If-Match": etag } : { "If-None-Match": "*" };
    await this.page.api.ask("PUT", `timetable/${encodeURIComponent(name)}`, entry, { headers });
  }

  /** @param {string} name @param {string} etag */
  async remove(name, etag) {
    const answer = await question(this.page, `Delete the entry ${name}?`, [html("p", {}, "It does not run by itself any more. The sequence stays.")], [
      { answer: "delete", words: "Delete it" }, { answer: "", words: "Keep it", main: true },
    ], this.signal);
    if (answer === "delete") await this.page.api.ask("DELETE", `timetable/${encodeURIComponent(name)}`, undefined, { headers: { "If-Match": etag } });
  }
}
