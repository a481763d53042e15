// @ts-check
import { Api } from "../../lib/api.js";
import { html, need, setHidden, setText } from "../../lib/dom.js";
import { report } from "../../lib/report.js";
import { Editor } from "./editor.js";
import { patterns } from "./patterns.js";
import { RunBar } from "./run-bar.js";
import { plainName } from "./storing.js";
import { Timetable } from "./timetable.js";

/** The stored sequences, the one being edited, and when they run by themselves.
 * @type {import("../../lib/page.js").Mount} */
export function mountSequencesView(host, page, signal) {
  const section = need(host, "[data-sequences]");
  const template = /** @type {HTMLTemplateElement} */ (need(host, "[data-sequences-template]"));
  section.replaceChildren(template.content.cloneNode(true));
  signal.addEventListener("abort", () => section.replaceChildren());
  setText(need(section, "[data-script-url]"), Api.url("sequences").href);
  const library = need(section, "[data-library]");
  /** @type {{name: string, etag: string, document: any}[]} */
  let stored = [];
  const names = () => stored.map((item) => item.name);
  const runBar = new RunBar(need(section, "[data-run-bar]"), page, signal);
  const editor = new Editor(need(section, "[data-editor]"), page, names, runBar, signal);
  const timetable = new Timetable(need(section, "[data-timetable]"), page, names, signal);

  const read = async () => {
    stored = (await page.api.call("GET", "sequences")).items;
    need(section, "[data-stored]").replaceChildren(...stored.map(row));
    setHidden(need(section, "[data-stored-empty]"), stored.length > 0);
    editor.paint();
    await timetable.read();
  };
  /** @param {{name: string, etag: string, document: any}} item */
  const row = ({ name, etag, document }) => {
    const open = html("button", { type: "button", class: "stored-name" }, name);
    const count = document.steps.length;
    const run = html("button", { type: "button", class: "small", "aria-label": `Run ${name}` }, "Run");
    run.disabled = !page.store.may("drive");
    open.addEventListener("click", () => editor.open({ name, etag, saved: document, doc: document }));
    run.addEventListener("click", () => void report(library, page.api.call("POST", `sequences/${name}/runs`, {}, { once: true })));
    return html("li", {}, open, html("span", { class: "hint" }, document.note || `${count} step${count === 1 ? "" : "s"}`), run);
  };
  /** @param {string} name @param {any} doc */
  const fresh = (name, doc) => editor.open({ name: names().includes(name) ? `${name}-2` : name, etag: "", saved: {}, doc });

  need(section, "[data-new]").addEventListener("click", () => fresh("", { steps: [] }), { signal });
  need(section, "[data-patterns]").replaceChildren(...patterns(page.store.snapshot).map(({ name, note, steps, entry }) => {
    const take = html("button", { type: "button", class: "stored-name" }, name);
    take.addEventListener("click", () => {
      const made = patterns(page.store.snapshot).find((pattern) => pattern.name === name);
      fresh(name, { note, steps: made?.steps ?? steps });
      if (entry) timetable.suggest(name, entry);
    });
    return html("li", {}, take, html("span", { class: "hint" }, note));
  }));
  const picker = /** @type {HTMLInputElement} */ (need(section, "[data-sequence-file]"));
  need(section, "[data-load]").addEventListener("click", () => picker.click(), { signal });
  picker.addEventListener("change", () => {
    const file = picker.files?.[0];
    picker.value = "";
    if (!file) return;
    void report(library, file.text().then((text) => {
      const doc = JSON.parse(text);
      if (!Array.isArray(doc?.steps)) throw new Error(`${file.name} is no sequence: it has no list of steps.`);
      fresh(plainName(file.name.replace(/\.json$/, "")), doc);
    }));
  }, { signal });
  editor.addEventListener("saved", () => void report(library, read()), { signal });
  void report(library, read());
}
