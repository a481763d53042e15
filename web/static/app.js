// @ts-check
import { Api } from "./lib/api.js";
import { Commands } from "./lib/commands.js";
import { clientName, defaultLabel } from "./lib/identity.js";
import { need } from "./lib/dom.js";
import { Live } from "./lib/live.js";
import { Painter } from "./lib/painter.js";
import { Preferences } from "./lib/preferences.js";
import { report } from "./lib/report.js";
import { Stopper } from "./lib/stopper.js";
import { Store } from "./lib/store.js";
import { Views } from "./lib/views.js";
import { mountDrive } from "./components/drive/drive.js";
import { mountNotices } from "./components/notices/notices.js";
import { mountSettingsView } from "./components/settings-view/settings-view.js";
import { mountStale } from "./components/stale/stale.js";
import { mountStopBar } from "./components/stop-bar/stop-bar.js";

const ASK_AGAIN_MS = 1000;
const SERVO_KEY = "geartender-servo";

/** The servo chosen in Settings, else the first there is. @param {Store} store @param {Api} api @returns {Promise<string>} */
async function chooseServo(store, api) {
  for (;;) {
    try {
      const { items } = await api.call("GET", "servos");
      store.set({ servos: items, serviceAnswers: true });
      const names = items.map((/** @type {{name: string}} */ item) => item.name);
      const chosen = sessionStorage.getItem(SERVO_KEY);
      if (names.length) return chosen !== null && names.includes(chosen) ? chosen : names[0];
    } catch {
      store.set({ serviceAnswers: false });
    }
    await new Promise((resolve) => setTimeout(resolve, ASK_AGAIN_MS));
  }
}

/** @param {Preferences} preferences */
function applyPreferences({ choices }) {
  const root = document.documentElement;
  root.dataset.contrast = choices.contrast ? "high" : "normal";
  root.dataset.hand = choices.leftHanded ? "left" : "right";
}

/** Fetched when it is first opened. @type {(...args: Parameters<import("./lib/page.js").Mount>) => Promise<void>} */
async function mountJournal(section, page, signal) {
  const { mountJournalView } = await import("./components/journal-view/journal-view.js");
  if (!signal.aborted) mountJournalView(section, page, signal);
}

/** The largest views are fetched when they are first opened. @type {(...args: Parameters<import("./lib/page.js").Mount>) => Promise<void>} */
async function mountBuild(section, page, signal) {
  const { mountBuildView } = await import("./components/build-view/build-view.js");
  if (!signal.aborted) mountBuildView(section, page, signal);
}

/** @type {(...args: Parameters<import("./lib/page.js").Mount>) => Promise<void>} */
async function mountSequences(section, page, signal) {
  const { mountSequencesView } = await import("./components/sequences-view/sequences-view.js");
  if (!signal.aborted) mountSequencesView(section, page, signal);
}

async function start() {
  const store = new Store();
  const preferences = new Preferences(defaultLabel());
  const api = new Api(clientName(preferences.choices.label));
  applyPreferences(preferences);
  preferences.addEventListener("change", () => applyPreferences(preferences));

  const painter = new Painter();
  const stopper = new Stopper(api);
  const whole = new AbortController();
  store.addEventListener("change", painter.ask);
  mountStopBar(need(document, "[data-stop-bar]"), { stopper, store, painter }, whole.signal);

  const servo = await chooseServo(store, api);
  const live = new Live(store, api, servo);
  const commands = new Commands(api, store, servo);
  stopper.live = live;
  /** @type {import("./lib/page.js").Page} */
  const page = { servo, store, api, live, commands, stopper, preferences, painter };

  mountStale(need(document, "[data-lever]"), page, whole.signal);
  mountNotices(need(document, "[data-notices]"), page, whole.signal);
  const first = store.servos.find((snapshot) => snapshot.name === servo);
  if (first) store.takeSnapshot(first);
  live.open(whole.signal);
  api.call("GET", commands.at("build")).then((sheet) => store.set({ sheet }), () => undefined);

  const none = () => undefined;
  new Views({
    drive: (section, signal) => mountDrive(section, page, signal),
    sequences: (section, signal) => void mountSequences(section, page, signal),
    build: (section, signal) => void report(section, mountBuild(section, page, signal)),
    bench: none,
    journal: (section, signal) => void report(section, mountJournal(section, page, signal)),
    settings: (section, signal) => mountSettingsView(section, page, signal),
  }, painter.ask).start();
}

void start();
