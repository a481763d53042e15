// @ts-check
/**
 * What every component is handed: the values to show and the ways to act.
 *
 * @typedef {object} Page
 * @property {string} servo
 * @property {import("./store.js").Store} store
 * @property {import("./api.js").Api} api
 * @property {import("./access.js").Access} access
 * @property {import("./live.js").Live} live
 * @property {import("./commands.js").Commands} commands
 * @property {import("./stopper.js").Stopper} stopper
 * @property {import("./preferences.js").Preferences} preferences
 * @property {import("./painter.js").Painter} painter
 * @property {import("./shell.js").Shell} shell
 *
 * @typedef {(host: HTMLElement, page: Page, signal: AbortSignal) => void} Mount
 */
export {};
