// @ts-check
/** @typedef {Record<string, any>} Step */
/** @typedef {{key: string, label: string, unit: string, optional?: boolean, empty?: string, pair?: [string, string]}} NumberField `empty`: what holds when it is not given; `pair`: two numbers, with their labels */
/** `fields`: numbers; `more`: those that few need; `choice`: of these exactly one is given; `holds`: it has steps of its own.
 * @typedef {{words: string, make: () => Step, fields: NumberField[], more?: NumberField[], choice?: NumberField[], holds?: boolean}} Kind */

const SPEED = { key: "speed_deg_s", label: "Highest speed", unit: "°/s", optional: true };

/** What a step can be, in the order in which they are offered. @type {Record<string, Kind>} */
export const KINDS = {
  move: {
    words: "Move", make: () => ({ do: "move", to_deg: 0 }),
    choice: [{ key: "to_deg", label: "To", unit: "°" }, { key: "by_deg", label: "By", unit: "°" }],
    fields: [SPEED, { key: "duration_s", label: "Take exactly", unit: "s", optional: true, empty: "as it comes" }],
    more: [
      { key: "torque_nm", label: "Highest torque", unit: "N·m", optional: true },
      { key: "accel_deg_s2", label: "Highest acceleration", unit: "°/s²", optional: true },
      { key: "jerk_deg_s3", label: "Highest jerk", unit: "°/s³", optional: true },
    ],
  },
  wait: { words: "Wait", make: () => ({ do: "wait", for_s: 5 }), fields: [{ key: "for_s", label: "For", unit: "s" }] },
  home: { words: "Find home", make: () => ({ do: "home" }), fields: [] },
  turn: {
    words: "Turn", make: () => ({ do: "turn", speed_deg_s: 5, for_s: 2 }),
    choice: [{ key: "for_s", label: "For", unit: "s" }, { key: "turns", label: "Turns", unit: "turns" }],
    fields: [{ key: "speed_deg_s", label: "Speed, negative the other way", unit: "°/s" }],
  },
  repeat: {
    words: "Repeat", make: () => ({ do: "repeat", times: 2, steps: [{ do: "wait", for_s: 1 }] }), holds: true,
    fields: [{ key: "times", label: "Times", unit: "" }],
  },
  check: {
    words: "Check", make: () => ({ do: "check", torque_below_nm: 1, otherwise: "stop" }),
    choice: [
      { key: "torque_below_nm", label: "Torque of the last motion below", unit: "N·m" },
      { key: "angle_within_deg", label: "Angle off its target by less than", unit: "°" },
      { key: "angle_within_deg", label: "Angle between two", unit: "°", pair: ["From", "Up to"] },
    ],
    fields: [],
  },
  run: { words: "Run another", make: () => ({ do: "run", sequence: "" }), fields: [] },
  together: { words: "Together", make: () => ({ do: "together", steps: [{ do: "move", to_deg: 0 }] }), holds: true, fields: [] },
};

/** One line that says what a step does. @param {Step} step */
export function wordsOf(step) {
  switch (step.do) {
    case "move": return step.by_deg === undefined ? `Move to ${step.to_deg}°` : `Move by ${step.by_deg}°`;
    case "wait": return `Wait ${step.for_s} s`;
    case "home": return "Find home";
    case "turn": return step.turns === undefined ? `Turn at ${step.speed_deg_s}°/s for ${step.for_s} s` : `Turn ${step.turns} turns`;
    case "repeat": return `Repeat ${step.times} times`;
    case "run": return `Run ${step.sequence || "another"}`;
    case "together": return "Together";
    case "check": return step.torque_below_nm === undefined ? "Check the angle" : "Check the torque";
    default: return String(step.do);
  }
}
