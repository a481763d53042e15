// @ts-check
/** Wide enough for Drive beside another view; the same width as in frame.css. */
const WIDE = "(min-width: 69rem)";

/**
 * Each view has an address of its own. Mounts a view when it comes into sight and takes it down when it leaves,
 * Drive staying mounted on a wide screen.
 */
export class Views {
  /** @param {Record<string, (section: HTMLElement, signal: AbortSignal) => void>} mounts by name of the view
   * @param {() => void} onShow */
  constructor(mounts, onShow) {
    this.mounts = mounts;
    this.onShow = onShow;
    this.wide = matchMedia(WIDE);
    /** @type {Map<string, AbortController>} */
    this.mounted = new Map();
  }

  start() {
    document.addEventListener("click", (event) => {
      const link = event.target instanceof Element ? event.target.closest("[data-link]") : null;
      if (!(link instanceof HTMLAnchorElement) || event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      if (link.href !== location.href) history.pushState(null, "", link.href);
      this.show();
      scrollTo(0, 0);
    });
    addEventListener("popstate", () => this.show());
    this.wide.addEventListener("change", () => this.show());
    this.show();
  }

  get current() {
    const last = location.pathname.split("/").pop() ?? "";
    return last in this.mounts ? last : "drive";
  }

  show() {
    const current = this.current;
    const root = document.documentElement;
    root.dataset.view = current;
    document.title = `${current.charAt(0).toUpperCase()}${current.slice(1)} · Geartender`;
    for (const link of document.querySelectorAll("nav [data-link]")) {
      if (/** @type {HTMLElement} */ (link).dataset.link === current) link.setAttribute("aria-current", "page");
      else link.removeAttribute("aria-current");
    }
    for (const [name, mount] of Object.entries(this.mounts)) {
      const section = /** @type {HTMLElement} */ (document.querySelector(`[data-section="${name}"]`));
      const inSight = name === current || (name === "drive" && this.wide.matches);
      section.hidden = !inSight;
      if (inSight && !this.mounted.has(name)) {
        const life = new AbortController();
        this.mounted.set(name, life);
        mount(section, life.signal);
      } else if (!inSight) {
        this.mounted.get(name)?.abort();
        this.mounted.delete(name);
      }
    }
    this.onShow();
  }
}
