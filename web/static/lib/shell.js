// @ts-check
/** What the browser gives when a page may be installed; not in the DOM's types, since one family of browsers alone has it.
 * @typedef {Event & {prompt: () => Promise<unknown>}} Offer */

/** Keeps the shell of the page in the browser, where it lets us: on a secure page. Emits `change`. */
export class Shell extends EventTarget {
  constructor() {
    super();
    /** @type {Offer|null} */
    this.offer = null;
    this.kept = false;
    addEventListener("beforeinstallprompt", (event) => {
      event.preventDefault();
      this.take(/** @type {Offer} */ (event));
    });
    addEventListener("appinstalled", () => this.take(null));
  }

  /** A certificate that was only clicked away is no ground for a browser to keep anything: then it is not kept. */
  async keep() {
    if (!("serviceWorker" in navigator)) return;
    this.kept = await navigator.serviceWorker.register(new URL("worker.js", document.baseURI)).then(() => true, () => false);
    this.dispatchEvent(new Event("change"));
  }

  /** @param {Offer|null} offer */
  take(offer) {
    this.offer = offer;
    this.dispatchEvent(new Event("change"));
  }

  /** It can be asked once; the browser offers it again when it likes. */
  async install() {
    await this.offer?.prompt();
    this.take(null);
  }
}

/** Whether the service has another page by now than this one. Without an answer nothing is known, so false. @returns {Promise<boolean>} */
export async function isOlder() {
  try {
    const { headers } = await fetch(new URL("drive", document.baseURI), { method: "HEAD", cache: "no-store" });
    const tag = headers.get("ETag");
    return tag !== null && !tag.includes(document.documentElement.dataset.version ?? "");
  } catch {
    return false;
  }
}
