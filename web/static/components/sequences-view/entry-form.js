// @ts-check
import { html } from "../../lib/dom.js";
import { asOptions, labelled, select } from "./step-fields.js";

/** @typedef {Record<string, any>} Entry */

const WHENS = /** @type {[string, string][]} */ ([
  ["rise", "Sunrise"], ["set", "Sunset"], ["cron", "By the clock (cron)"], ["every_s", "Every so often"], ["once", "Once"],
]);

/** @param {Entry} entry */
function whenOf(entry) {
  if (entry.sun) return entry.sun;
  return ["cron", "every_s", "once"].find((key) => entry[key] !== undefined) ?? "rise";
}

/** The time zones that the browser knows, to choose from; another may be typed. @param {string} value @param {string} site */
function zoneField(value, site) {
  const known = Intl.supportedValuesOf?.("timeZone") ?? [];
  const list = html("datalist", { id: "time-zones" }, ...known.map((zone) => html("option", { value: zone })));
  const input = html("input", { autocomplete: "off", autocapitalize: "none", spellcheck: "false", list: list.id, placeholder: site, value });
  return { input, list };
}

/** The form of one entry. Gives its document when it is sent.
 * @param {HTMLFormElement} form @param {string} name "" for a new one @param {Entry} entry
 * @param {{sequences: string[], servos: string[], zone: string, may: boolean}} known
 * @param {{save: (name: string, entry: Entry) => void, cancel: () => void}} acts */
export function showEntryForm(form, name, entry, { sequences, servos, zone: site, may }, { save, cancel }) {
  const nameField = html("input", { autocomplete: "off", autocapitalize: "none", maxlength: "40", required: "", value: name });
  nameField.disabled = name !== "";
  const sequence = select(asOptions(sequences));
  sequence.value = entry.sequence ?? sequences[0] ?? "";
  const when = select(WHENS);
  when.value = whenOf(entry);
  const detail = html("div", {});
  const late = html("input", { inputmode: "numeric", autocomplete: "off", placeholder: "not at all", value: String(entry.missed?.within_min ?? "") });
  const busy = select([["skip", "skip it"], ["wait", "wait until it is free"]]);
  busy.value = entry.busy ?? "skip";
  const note = html("input", { autocomplete: "off", maxlength: "400", value: entry.note ?? "" });
  const servo = select([["", "the sequence's servo"], ...asOptions(servos)]);
  servo.value = entry.servo ?? "";
  const zone = zoneField(entry.zone ?? "", site);
  const value = html("input", { autocomplete: "off" });
  const showDetail = () => {
    const kind = when.value;
    const sun = kind === "rise" || kind === "set";
    const words = sun ? "Minutes after it, negative before" : kind === "cron" ? "Minute, hour, day, month, weekday" : kind === "every_s" ? "Every" : "At (year-month-dayThour:minute)";
    const before = sun ? String(entry.offset_min ?? 0) : String(entry[kind] ?? { cron: "0 12 * * *", every_s: "3600", once: "" }[kind] ?? "");
    value.value = before;
    detail.replaceChildren(labelled(words, value, kind === "every_s" ? "s" : sun ? "min" : undefined));
  };
  when.addEventListener("change", showDetail);
  showDetail();
  const send = html("button", { type: "submit", class: "act" }, "Save entry");
  send.disabled = !may;
  const leave = html("button", { type: "button" }, "Cancel");
  leave.addEventListener("click", cancel);
  form.replaceChildren(
    labelled("Name of the entry", nameField), labelled("Sequence", sequence), labelled("When", when), detail,
    labelled("If it could not begin in time, catch up within", late, "min"), labelled("If something else moves the servo", busy),
    ...(servos.length > 1 ? [labelled("Servo", servo)] : []), labelled("Time zone", zone.input), zone.list, labelled("What it is for", note),
    html("div", { class: "row handed" }, send, leave));
  form.onsubmit = (event) => {
    event.preventDefault();
    const kind = when.value;
    const sun = kind === "rise" || kind === "set";
    /** @type {Entry} */
    const made = { sequence: sequence.value, busy: busy.value };
    if (entry.enabled !== undefined) made.enabled = entry.enabled;
    for (const [key, field] of Object.entries({ note, servo, zone: zone.input })) if (field.value.trim()) made[key] = field.value.trim();
    if (sun) Object.assign(made, { sun: kind, offset_min: Number(value.value) });
    else made[kind] = kind === "every_s" ? Number(value.value) : value.value;
    made.missed = late.value.trim() ? { within_min: Number(late.value) } : "skip";
    save(nameField.value, made);
  };
  form.hidden = false;
  (name ? sequence : nameField).focus();
}
