// @ts-check
import { randomName } from "./identity.js";

/** An answer takes a few ms; longer than this and the way to the service is not there. */
const ANSWER_TIMEOUT_MS = 4000;

/** One mistake in a body that was sent, and its place there as a JSON Pointer.
 * @typedef {{detail: string, pointer: string}} Mistake */

/** What went wrong, in the service's own words where it gave any (RFC 9457). */
export class Problem extends Error {
  /** @param {{type?: string, title?: string, status?: number, detail?: string, errors?: Mistake[], proof?: string, retry_after_s?: number}} body */
  constructor(body) {
    super(body.detail || body.title || "The request failed");
    this.slug = (body.type ?? "").split("/").pop() ?? "";
    this.status = body.status ?? 0;
    this.errors = body.errors ?? [];
    this.proof = body.proof ?? "";
    this.retryAfterS = body.retry_after_s ?? 0;
  }

  /** No answer at all, as opposed to an answer that says no. */
  get unreachable() {
    return this.status === 0;
  }
}

/** `once`: a repeat of this request is not a second one; `signal`: the answer is no longer wanted.
 * @typedef {{timeoutMs?: number, once?: boolean, headers?: Record<string, string>, signal?: AbortSignal}} Options */

/** Where whoever was not let in may still ask: who they are, to be let in, and to stop. */
const OPEN = /^(me|pairing)$|\/stop$/;
const PROOF = "me/proof";

/** Emits `refused` when the service does not know who asks. */
export class Api extends EventTarget {
  /** @param {string} client */
  constructor(client) {
    super();
    this.client = client;
    /** Not let in: nothing else is asked, since each try would count as a wrong one. */
    this.shut = false;
    /** Proves that it is still you. @type {(problem: Problem) => Promise<boolean>} */
    this.prove = async () => false;
  }

  /** @param {string} path relative to the API's root @returns {URL} */
  static url(path) {
    return new URL(`api/v1/${path}`, document.baseURI);
  }

  /** @param {string} method @param {string} path @param {unknown} [body] @param {Options} [options]
   * @returns {Promise<any>} the decoded answer
   * @throws {Problem} */
  async call(method, path, body, options) {
    return (await this.ask(method, path, body, options)).decoded;
  }

  /** What needs a proof is asked once more when it was given.
   * @param {string} method
   * @param {string} path
   * @param {unknown} [body]
   * @param {Options} [options]
   * @returns {Promise<{decoded: any, text: string, etag: string}>}
   * @throws {Problem}
   */
  async ask(method, path, body, options = {}) {
    if (this.shut && !OPEN.test(path)) throw new Problem({ status: 401, detail: "You are let in no longer. Pair again first." });
    try {
      return await this.send(method, path, body, options);
    } catch (error) {
      const { slug } = /** @type {Problem} */ (error);
      if (slug === "unauthenticated") this.dispatchEvent(new Event("refused"));
      if (slug !== "proof-needed" || path === PROOF || !(await this.prove(/** @type {Problem} */ (error)))) throw error;
      return this.send(method, path, body, options);
    }
  }

  /** @param {string} method @param {string} path @param {unknown} body @param {Options} options
   * @returns {Promise<{decoded: any, text: string, etag: string}>} */
  async send(method, path, body, options) {
    /** @type {Record<string, string>} */
    const headers = { "Geartender-Client": this.client, Accept: "application/json", ...options.headers };
    if (body !== undefined) headers["Content-Type"] = "application/json";
    if (options.once) headers["Idempotency-Key"] = randomName();
    const waiting = new AbortController();
    const timer = setTimeout(() => waiting.abort(), options.timeoutMs ?? ANSWER_TIMEOUT_MS);
    options.signal?.addEventListener("abort", () => waiting.abort());
    try {
      const response = await fetch(Api.url(path), {
        method,
        headers,
        body: body === undefined ? undefined : JSON.stringify(body),
        signal: waiting.signal,
        cache: "no-store",
        keepalive: method === "POST",
      });
      const text = await response.text();
      const decoded = /json/.test(response.headers.get("Content-Type") ?? "") ? JSON.parse(text) : null;
      if (!response.ok) throw new Problem({ status: response.status, ...decoded });
      return { decoded, text, etag: response.headers.get("ETag") ?? "" };
    } catch (error) {
      if (error instanceof Problem) throw error;
      throw new Problem({ detail: "No answer from the service. Check the network, then try again." });
    } finally {
      clearTimeout(timer);
    }
  }
}
