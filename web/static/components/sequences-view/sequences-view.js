// @ts-check
import { Api } from "../../lib/api.js";
import { need, setText } from "../../lib/dom.js";

/** @type {import("../../lib/page.js").Mount} */
export function mountSequencesView(section, page) {
  setText(need(section, "[data-script-url]"), Api.url(page.commands.at("moves")).href);
}
