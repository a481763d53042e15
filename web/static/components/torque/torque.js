// @ts-check
import { need, setText } from "../../lib/dom.js";
import { quantity } from "../../lib/format.js";

/** The bar is longer than the limit, so that the stop stands inside it. */
const BAR_SHARE = 1.2;
const NEAR = 0.85;

/** Torque as a bar that runs against its limit.
 * @type {import("../../lib/page.js").Mount} */
export function mountTorque(host, page, signal) {
  const bar = need(host, "[data-torque-now]");
  const words = need(host, "[data-torque-words]");
  page.painter.add(() => {
    const snapshot = page.store.snapshot;
    if (!snapshot) return;
    const limit = snapshot.limits?.torque_nm ?? null;
    host.toggleAttribute("data-unlimited", limit === null);
    if (limit === null) return setText(words, `${quantity(snapshot.torque_nm, "N·m", 2)}, the sheet sets no limit`);
    const share = Math.min(BAR_SHARE, Math.abs(snapshot.torque_nm ?? 0) / limit);
    const scale = `scaleX(${(share / BAR_SHARE).toFixed(3)})`;
    if (bar.style.transform !== scale) bar.style.transform = scale;
    const near = share >= NEAR;
    if (host.hasAttribute("data-near") !== near) host.toggleAttribute("data-near", near);
    setText(words, `${quantity(snapshot.torque_nm, "N·m", 2)} of ${quantity(limit, "N·m", 2)}${near ? ", near its limit" : ""}`);
  }, signal);
}
