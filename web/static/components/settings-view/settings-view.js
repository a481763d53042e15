// @ts-check
import { html, need } from "../../lib/dom.js";
import { quantity } from "../../lib/format.js";
import { report } from "../../lib/report.js";
import { mountAccess } from "./access.js";
import { mountHttps } from "./https.js";
import { mountThisDevice } from "./this-device.js";

const SERVO_KEY = "geartender-servo";

/** Choices of this device, who is let in, and what the service says of its servos.
 * @type {import("../../lib/page.js").Mount} */
export function mountSettingsView(section, page, signal) {
  const { preferences, api } = page;
  for (const box of /** @type {NodeListOf<HTMLInputElement>} */ (section.querySelectorAll("[data-choice]"))) {
    const choice = /** @type {"contrast"|"leftHanded"} */ (box.dataset.choice);
    box.checked = preferences.choices[choice];
    box.addEventListener("change", () => preferences.set({ [choice]: box.checked }), { signal });
  }
  mountThisDevice(need(section, "[data-this-device]"), page, signal);
  mountAccess(need(section, "[data-access]"), page, signal);
  mountHttps(need(section, "[data-https]"), page, signal);
  const servos = need(section, "[data-servos]");
  void report(/** @type {HTMLElement} */ (servos.parentElement), api.call("GET", "servos").then(({ items }) => {
    if (!signal.aborted) servos.replaceChildren(...items.map((/** @type {any} */ item) => servoEntry(item, page.servo)));
  }));
}

/** @param {import("../../lib/types.js").Snapshot} snapshot @param {string} current */
function servoEntry(snapshot, current) {
  const { link } = snapshot;
  const facts = [
    ["Name", snapshot.name],
    ["State", snapshot.state],
    ["Led by", snapshot.source === "pulse" ? "pulse input" : "this service"],
    ["Firmware", link.firmware_version ?? "unknown"],
    ["Protocol", String(link.protocol_version ?? "unknown")],
    ["Board", link.board_id ?? "unknown"],
    ["Answer in", quantity(link.round_trip_ms, "ms", 1)],
    ["Damaged lines", String(link.errors)],
    ["Reconnected", `${link.reconnects} times`],
  ];
  const list = html("dl", {}, ...facts.flatMap(([term = "", value = ""]) => [html("dt", {}, term), html("dd", {}, value)]));
  const drive = html("button", { type: "button" }, `Drive ${snapshot.name}`);
  drive.addEventListener("click", () => {
    sessionStorage.setItem(SERVO_KEY, snapshot.name);
    location.assign("drive");
  });
  return html("div", {}, list, ...(snapshot.name === current ? [] : [drive]));
}
