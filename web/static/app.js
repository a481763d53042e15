// @ts-check
import { Access, CLOSED_NOT_LET_IN } from "./lib/access.js";
import { Api } from "./lib/api.js";
import { Commands } from "./lib/commands.js";
import { mountAwake } from "./lib/awake.js";
import { clientName, defaultLabel } from "./lib/identity.js";
import { need, setText } from "./lib/dom.js";
import { takeInvitation } from "./lib/invitation.js";
import { Live } from "./lib/live.js";
import { Painter } from "./lib/painter.js";
import { Preferences } from "./lib/preferences.js";
import { report } from "./lib/report.js";
import { sayWhatIsMissing } from "./lib/roles.js";
import { Shell } from "./lib/shell.js";
import { Stopper } from "./lib/stopper.js";
import { Store } from "./lib/store.js";
import { Views } from "./lib/views.js";
import { mountDrive } from "./components/drive/drive.js";
import { mountNotices } from "./components/notices/notices.js";
import { mountOlder } from "./components/older/older.js";
import { proof } from "./components/proof/proof.js";
import { mountStale } from "./components/stale/stale.js";
import { stateWords } from "./components/state-line/words.js";
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

/** @type {(...args: Parameters<import("./lib/page.js").Mount>) => Promise<void>} */
async function mountSettings(section, page, signal) {
  const { mountSettingsView } = await import("./components/settings-view/settings-view.js");
  if (!signal.aborted) mountSettingsView(section, page, signal);
}

/** Shows the pairing view when this page is let in no longer, or comes with an invitation.
 * @param {Pick<import("./lib/page.js").Page, "api"|"store"|"preferences"|"access">} page */
function pairingOf(page) {
  const host = need(document, "[data-pairing]");
  let shown = new AbortController();
  /** @param {string} secret */
  const show = async (secret) => {
    if (page.store.me?.kind === "anybody") return;
    shown.abort();
    shown = new AbortController();
    const { signal } = shown;
    const { mountPairingView } = await import("./components/pairing-view/pairing-view.js");
    if (!signal.aborted) mountPairingView(host, page, secret, () => shown.abort(), signal);
  };
  const invited = () => {
    const secret = takeInvitation();
    if (secret) void show(secret);
  };
  addEventListener("hashchange", invited);
  page.access.addEventListener("again", () => void show(""));
  return show;
}

/** @type {(...args: Parameters<import("./lib/page.js").Mount>) => Promise<void>} */
async function mountBench(section, page, signal) {
  const { mountBenchView } = await import("./components/bench-view/bench-view.js");
  if (!signal.aborted) mountBenchView(section, page, signal);
}

async function start() {
  let invitation = takeInvitation();
  const store = new Store();
  const preferences = new Preferences(defaultLabel());
  const api = new Api(clientName(preferences.choices.label));
  applyPreferences(preferences);
  preferences.addEventListener("change", () => applyPreferences(preferences));

  const painter = new Painter();
  const shell = new Shell();
  const stopper = new Stopper(api);
  const whole = new AbortController();
  store.addEventListener("change", painter.ask);
  mountStopBar(need(document, "[data-stop-bar]"), { stopper, store, painter }, whole.signal);

  const access = new Access(api, store);
  const letIn = new AbortController();
  const pairing = pairingOf({ api, store, preferences, access });
  access.addEventListener("out", () => {
    letIn.abort();
    void pairing(invitation);
    invitation = "";
  });
  access.addEventListener("role", () => location.reload());
  const waiting = new AbortController();
  store.addEventListener("change", () => setText(need(document, "[data-state-words]"), stateWords(store)), { signal: waiting.signal });
  await access.enter();
  if (store.admission === "out") return;
  sayWhatIsMissing(document, store);

  const servo = await chooseServo(store, api);
  waiting.abort();
  const live = new Live(store, api, servo);
  const commands = new Commands(api, store, servo);
  stopper.live = live;
  /** @type {import("./lib/page.js").Page} */
  const page = { servo, store, api, access, live, commands, stopper, preferences, painter, shell };
  api.prove = (problem) => proof(page, problem, whole.signal);
  live.addEventListener("lost", (event) => {
    if (/** @type {CustomEvent<number>} */ (event).detail === CLOSED_NOT_LET_IN) void access.ask();
  });

  mountStale(need(document, "[data-lever]"), page, whole.signal);
  mountNotices(need(document, "[data-notices]"), page, whole.signal);
  mountOlder(need(document, "[data-outdated]"), page, whole.signal);
  mountAwake(page, whole.signal);
  const first = store.servos.find((snapshot) => snapshot.name === servo);
  if (first) store.takeSnapshot(first);
  live.open(letIn.signal);
  api.call("GET", commands.at("build")).then((sheet) => store.set({ sheet }), () => undefined);

  new Views({
    drive: (section, signal) => mountDrive(section, page, signal),
    sequences: (section, signal) => void mountSequences(section, page, signal),
    build: (section, signal) => void report(section, mountBuild(section, page, signal)),
    bench: (section, signal) => void report(section, mountBench(section, page, signal)),
    journal: (section, signal) => void report(section, mountJournal(section, page, signal)),
    settings: (section, signal) => void report(section, mountSettings(section, page, signal)),
  }, painter.ask).start();
  if (invitation) void pairing(invitation);
  void shell.keep();
}

void start();
