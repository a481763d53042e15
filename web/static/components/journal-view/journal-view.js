// @ts-check
import { html, need, setHidden, setText } from "../../lib/dom.js";
import { report } from "../../lib/report.js";
import { Feed, search } from "./feed.js";
import { queryOf, watchFilters } from "./filters.js";
import { showLastStop } from "./last-stop.js";
import { List } from "./list.js";
import { traceFigure } from "./trace.js";

/** Something may happen that this page hears nothing of, at another servo: look this often. */
const LOOK_EVERY_MS = 5000;
/** After news of the servo, the journal has it within this. */
const AFTER_NEWS_MS = 300;
const TABLE_TIMEOUT_MS = 120_000;

/** What was commanded and what happened: a story with filters, endless, and why it stopped.
 * @type {import("../../lib/page.js").Mount} */
export function mountJournalView(section, page, signal) {
  const { store, api, painter } = page;
  const older = need(section, "[data-older]");
  const note = need(section, "[data-events-note]");
  const toNewest = need(section, "[data-to-newest]");
  const list = new List(need(section, "[data-events]"), () => ({
    degPerCount: store.snapshot?.deg_per_count ?? 1, named: store.servos.length > 1,
  }));
  let life = new AbortController();
  let feed = new Feed(api, {}, life.signal);
  /** The feed that is being read, of which there may be an old one still. @type {Feed|null} */
  let busy = null;
  let heard = store.events;

  const say = () => {
    setHidden(toNewest, !list.cut);
    const searched = Object.keys(feed.query).length > 0;
    const none = searched ? "Nothing in the journal is like that." : "Nothing is in the journal yet. What you command and what happens is written here.";
    const far = list.empty && feed.more ? "Nothing yet; there is more to look through." : "";
    setText(note, busy === feed ? "Reading …" : far || (list.empty ? none : feed.more ? "" : "That is all of it."));
    setHidden(older, !feed.more || busy === feed);
  };

  /** Reads one thing at a time; what an old search still brings is not shown.
   * @param {(feed: Feed) => Promise<import("./feed.js").Entry[]>} read @param {(entries: import("./feed.js").Entry[]) => void} show */
  const one = async (read, show) => {
    if (busy === feed || signal.aborted) return;
    const now = busy = feed;
    const current = () => now === feed && !signal.aborted;
    say();
    const work = async () => {
      const entries = await read(now);
      if (current()) show(entries);
      await showLastStop(section, page, signal);
    };
    await report(section, work().catch((error) => {
      if (current()) throw error;
    }));
    if (!current()) return;
    busy = null;
    say();
  };
  const showOlder = () => one((now) => now.older(), (entries) => list.addOlder(entries));
  const look = () => one((now) => now.newer(), (entries) => entries.forEach((entry) => list.addNewer(entry)));
  const begin = () => {
    life.abort();
    life = new AbortController();
    feed = new Feed(api, queryOf(form), life.signal);
    list.clear();
    void showOlder();
  };
  const form = watchFilters(section, begin, signal);

  const sight = new IntersectionObserver((entries) => {
    if (entries.at(-1)?.isIntersecting && feed.more && !list.empty) void showOlder();
  }, { rootMargin: "600px" });
  sight.observe(older);
  older.addEventListener("click", () => void showOlder(), { signal });
  toNewest.addEventListener("click", () => {
    begin();
    scrollTo(0, 0);
  }, { signal });
  need(section, "[data-save-table]").addEventListener("click", () => void report(section, saveTable(api, queryOf(form))), { signal });
  section.addEventListener("click", (event) => {
    const button = event.target instanceof Element ? event.target.closest("[data-trace]") : null;
    if (button instanceof HTMLElement) void report(section, showTrace(page, button, signal));
  }, { signal });

  let soon = 0;
  painter.add(() => {
    if (heard === store.events) return;
    heard = store.events;
    clearTimeout(soon);
    soon = setTimeout(look, AFTER_NEWS_MS);
  }, signal);
  const timer = setInterval(() => {
    if (!document.hidden) void look();
  }, LOOK_EVERY_MS);
  signal.addEventListener("abort", () => {
    clearInterval(timer);
    clearTimeout(soon);
    sight.disconnect();
    life.abort();
    list.clear();
  });
  begin();
}

/** Opens the chart under an entry, or closes it. @param {import("../../lib/page.js").Page} page @param {HTMLElement} button @param {AbortSignal} signal */
export async function showTrace(page, button, signal) {
  const open = button.nextElementSibling;
  if (open) {
    open.remove();
    button.setAttribute("aria-expanded", "false");
    return;
  }
  const place = html("div", {});
  button.after(place);
  button.setAttribute("aria-expanded", "true");
  const { items } = await page.api.call("GET", `journal/${button.dataset.trace}/trace`);
  place.append(await traceFigure(page, items, signal));
}

/** @param {import("../../lib/api.js").Api} api @param {import("./feed.js").Query} query */
async function saveTable(api, query) {
  const { text } = await api.ask("GET", `journal?${search(query)}`, undefined, { headers: { Accept: "text/csv" }, timeoutMs: TABLE_TIMEOUT_MS });
  const address = URL.createObjectURL(new Blob([text], { type: "text/csv" }));
  const link = html("a", { href: address, download: "journal.csv" });
  link.click();
  URL.revokeObjectURL(address);
}
