// @ts-check
/**
 * Shapes of the bench, as the service sends them.
 *
 * @typedef {{text: string, moves_deg: number, speed_deg_s: number, torque_nm: number, time_s: number}} Announcement
 * @typedef {{position: number, ms: number, gain_margin: number, phase_margin_deg: number, rms_deg: number, largest_deg: number,
 *   curve: [number, number][]}} Preview
 * @typedef {{low: number, high: number, step: number, start: number, ends: [string, string], measured: [number, number][],
 *   previews: Preview[]}} Range
 * @typedef {{id: string, kind: "go"|"choice"|"number"|"range", text: string, choices: string[], unit: string, optional: boolean,
 *   announcement: Announcement|null, range: Range|null}} Question
 * @typedef {{title: string, x_label: string, y_label: string, series: Record<string, [number, number][]>, dots: boolean}} Plot
 * @typedef {{id: string, title: string, state: string, announcement: Announcement|null, text: string[],
 *   values: Record<string, {value: number, uncertainty: number}>, plots: Plot[], live: Plot|null}} Step
 * @typedef {{id: string, procedure: string, servo: string, state: string, began_at: string, steps: Step[], question: Question|null,
 *   wrong: {kind: string, text: string, cure: string}|null, reason: string|null}} Run
 * @typedef {{name: string, title: string, unit: string, now: number|null, change: number|null, shows: boolean}} Trend
 * @typedef {{since: string|null, points: number, moves: number, trends: Trend[], off_counts: number|null, plots: Plot[], notes: string[]}} Health
 * @typedef {{name: string, title: string, about: string, steps: string[], last: Run|null}} Procedure
 */
export {};
