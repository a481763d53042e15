// @ts-check
import { need } from "../../lib/dom.js";
import { forgetProblems } from "../../lib/report.js";
import { mountFavourites } from "../favourites/favourites.js";
import { mountGoto } from "../goto/goto.js";
import { mountHoldToRun } from "../hold-to-run/hold-to-run.js";
import { mountLead } from "../lead/lead.js";
import { mountLever } from "../lever/lever.js";
import { mountQuietLine } from "../quiet-line/quiet-line.js";
import { mountSimulation } from "../simulation/simulation.js";
import { mountSpeed } from "../speed/speed.js";
import { mountStateLine } from "../state-line/state-line.js";
import { mountSteps } from "../steps/steps.js";
import { mountStripChart } from "../strip-chart/strip-chart.js";
import { mountTorque } from "../torque/torque.js";

/** @type {Record<string, import("../../lib/page.js").Mount>} */
const PARTS = {
  "[data-state]": mountStateLine,
  "[data-lead]": mountLead,
  "[data-quiet]": mountQuietLine,
  "[data-lever]": mountLever,
  "[data-torque]": mountTorque,
  "[data-hold-to-run]": mountHoldToRun,
  "[data-steps]": mountSteps,
  "[data-goto]": mountGoto,
  "[data-favourites]": mountFavourites,
  "[data-speed]": mountSpeed,
  "[data-strip]": mountStripChart,
  "[data-simulation]": mountSimulation,
};

/** @type {import("../../lib/page.js").Mount} */
export function mountDrive(section, page, signal) {
  for (const [selector, mount] of Object.entries(PARTS)) mount(need(section, selector), page, signal);
  let state = page.store.snapshot?.state;
  page.painter.add(() => {
    const now = page.store.snapshot?.state;
    if (now !== state) forgetProblems(section);
    state = now;
  }, signal);
}
