// @ts-check
import { Api } from "./api.js";

const RATE_HZ = 20;
const RETRY_FIRST_MS = 250;
const RETRY_MOST_MS = 2000;
/** A socket that opened but says nothing for this long is a socket that is gone. */
const SILENT_MS = 3000;

/**
 * The live socket, opened again for as long as the page lives. News goes into the store; a refused jog is
 * given out as `refused`, the end of the socket as `lost` with its close code.
 */
export class Live extends EventTarget {
  /** @param {import("./store.js").Store} store @param {Api} api @param {string} servo */
  constructor(store, api, servo) {
    super();
    this.store = store;
    this.api = api;
    this.servo = servo;
    /** @type {WebSocket|null} */
    this.socket = null;
    this.retryMs = RETRY_FIRST_MS;
    this.timer = 0;
  }

  /** @param {AbortSignal} signal closes the socket for good */
  open(signal) {
    if (signal.aborted) return;
    const url = Api.url("live");
    url.protocol = url.protocol === "https:" ? "wss:" : "ws:";
    const socket = new WebSocket(url);
    this.socket = socket;
    const over = new AbortController();
    /** @param {Event} [event] */
    const end = (event) => {
      if (over.signal.aborted) return;
      over.abort();
      socket.close();
      this.socket = null;
      this.store.set({ socket: "lost" });
      this.dispatchEvent(new CustomEvent("lost", { detail: event instanceof CloseEvent ? event.code : 0 }));
      if (!signal.aborted) this.tryAgain(signal);
    };
    const listening = { signal: over.signal };
    socket.addEventListener("open", () => {
      this.send({ type: "hello", client: this.api.client });
      this.send({ type: "subscribe", servo: this.servo, rate_hz: RATE_HZ });
    }, listening);
    socket.addEventListener("message", (event) => {
      clearTimeout(this.timer);
      this.timer = setTimeout(() => end(), SILENT_MS);
      this.take(JSON.parse(event.data));
    }, listening);
    socket.addEventListener("close", end, listening);
    signal.addEventListener("abort", end, listening);
    this.timer = setTimeout(() => end(), SILENT_MS);
  }

  /** @param {AbortSignal} signal */
  tryAgain(signal) {
    clearTimeout(this.timer);
    this.timer = setTimeout(async () => {
      const answers = await this.api.call("GET", "servos").then(() => true, (problem) => !problem.unreachable);
      this.store.set({ serviceAnswers: answers });
      this.open(signal);
    }, this.retryMs);
    this.retryMs = Math.min(this.retryMs * 2, RETRY_MOST_MS);
  }

  /** @param {any} message */
  take(message) {
    if (message.type === "event" && message.problem) {
      this.dispatchEvent(new CustomEvent("refused", { detail: message.problem }));
    }
    if (message.servo !== this.servo) return;
    if (message.type === "snapshot") {
      this.retryMs = RETRY_FIRST_MS;
      if (this.store.socket !== "open") this.store.set({ socket: "open", serviceAnswers: true });
      this.store.takeSnapshot(message.snapshot);
    } else if (message.type === "telemetry") {
      this.store.takeTelemetry(message);
    } else if (message.type === "event" && message.event === "run") {
      this.dispatchEvent(new CustomEvent("run", { detail: message }));
    } else if (message.type === "event" && message.text && message.at) {
      this.store.takeEvent(message);
    }
  }

  /** @param {Record<string, unknown>} message @returns {boolean} whether there was a socket to send it on */
  send(message) {
    if (this.socket?.readyState !== WebSocket.OPEN) return false;
    this.socket.send(JSON.stringify(message));
    return true;
  }
}
