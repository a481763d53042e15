// @ts-check
/**
 * Where the wheels of a train stand, seen from the side and unfolded into one plane. Lengths in mm, y downwards.
 *
 * @typedef {{y: number, height: number, round: boolean}} Wheel `height` is its outside diameter; a worm is seen along its axis, round
 * @typedef {{face: number, faceGiven: boolean, driver: Wheel, driven: Wheel, distance: number}} Stage
 */

/** A face that the sheet does not give is drawn as wide as many are, in modules, and dashed. */
const USUAL_FACE_MODULES = 8;

/** One stage for each mesh: every axle is folded back over the one before, so that the drawing stays low.
 * @param {any[]} meshes of the figures @param {any[]} sheet the meshes of the sheet
 * @returns {Stage[]|null} null where a diameter is not known */
export function stagesOf(meshes, sheet) {
  let y = 0;
  /** @type {Stage[]} */
  const stages = [];
  for (const [i, mesh] of meshes.entries()) {
    const { centre_distance_mm: distance, driver_outside_mm: first, driven_outside_mm: second, kind } = mesh;
    if (distance === null || first === null || second === null) return null;
    const next = y + (i % 2 ? -distance : distance);
    const face = sheet[i]?.face_mm;
    stages.push({
      face: face ?? USUAL_FACE_MODULES * (sheet[i]?.module_mm ?? 1), faceGiven: typeof face === "number", distance,
      driver: { y, height: first, round: kind === "worm" }, driven: { y: next, height: second, round: false },
    });
    y = next;
  }
  return stages;
}

/** @param {Stage[]} stages */
export function boundsOf(stages) {
  const wheels = stages.flatMap(({ driver, driven }) => [driver, driven]);
  return {
    top: Math.min(...wheels.map(({ y, height }) => y - height / 2)),
    bottom: Math.max(...wheels.map(({ y, height }) => y + height / 2)),
    across: stages.reduce((sum, stage) => sum + widthOf(stage), 0),
  };
}

/** A worm seen along its axis is wider than its wheel is thick. @param {Stage} stage */
export const widthOf = ({ face, driver }) => (driver.round ? Math.max(face, driver.height) : face);
