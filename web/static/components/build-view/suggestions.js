// @ts-check
import { html } from "../../lib/dom.js";
import { withValue } from "./paths.js";

/** Buttons that put what is suggested into the sheet.
 * @param {import("./draft.js").Draft} draft @param {() => any} figures those shown now */
export function suggestionButtons(draft, figures) {
  const limits = html("button", { type: "button" }, "Use these limits");
  limits.addEventListener("click", () => {
    const { speed_deg_s, accel_deg_s2, jerk_deg_s3 } = figures().suggested_limits;
    draft.replace({ ...draft.doc, limits: { ...draft.doc.limits, speed_deg_s, accel_deg_s2, jerk_deg_s3 } });
  });
  const overload = html("button", { type: "button" }, "Use this overload torque");
  overload.addEventListener("click", () => {
    draft.replace(withValue(draft.doc, ["overload", "torque_nm"], Number(figures().suggested_overload_nm.toPrecision(3))));
  });
  return html("div", { class: "row" }, limits, overload);
}
