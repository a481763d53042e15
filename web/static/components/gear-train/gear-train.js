// @ts-check
import { figure } from "../../lib/format.js";
import { need, setAttribute, setText, svg } from "../../lib/dom.js";
import { wheel, worm } from "./shapes.js";
import { boundsOfTrain, trainOf } from "./train.js";

const MARGIN_PX = 26;
const MOST_HEIGHT_PX = 340;
const BARS_MM = [5, 10, 20, 50, 100];
const LEAST_BAR_PX = 48;

/** The gear train of the sheet, to scale, turned by the counts the firmware really counts.
 * @param {HTMLElement} host @param {import("../../lib/page.js").Page} page @param {number} countsPerTurn
 * @param {() => boolean} open @param {AbortSignal} signal */
export function mountGearTrain(host, page, countsPerTurn, open, signal) {
  const { store, painter } = page;
  const sheet = /** @type {SVGSVGElement} */ (/** @type {unknown} */ (need(host, "[data-train-sheet]")));
  const still = matchMedia("(prefers-reduced-motion: reduce)");
  const train = trainOf(store.sheet?.mesh ?? []);
  /** @type {((motorDeg: number) => void)[]} */
  let turners = [];
  let drawnWidth = 0;
  delete host.dataset.turned;

  const draw = () => {
    const width = host.clientWidth;
    if (!width || width === drawnWidth || !train.parts.length) return;
    drawnWidth = width;
    const box = boundsOfTrain(train.parts);
    const room = { x: width - 2 * MARGIN_PX, y: MOST_HEIGHT_PX - 2 * MARGIN_PX };
    const scale = Math.min(room.x / (box.right - box.left), room.y / (box.bottom - box.top));
    const height = (box.bottom - box.top) * scale + 2 * MARGIN_PX + 16;
    turners = [];
    const left = (width - (box.right - box.left) * scale) / 2 - box.left * scale;
    const all = svg("g", { transform: `translate(${left.toFixed(1)} ${(MARGIN_PX - box.top * scale).toFixed(1)})` });
    for (const part of train.parts) {
      const place = svg("g", { transform: `translate(${(part.x * scale).toFixed(1)} ${(part.y * scale).toFixed(1)})` });
      if (part.kind === "worm") {
        const { group, threads } = worm(part, scale);
        const pitch = Math.PI * part.module * scale;
        place.append(group);
        const lead = part.teeth * pitch;
        turners.push((deg) => setAttribute(threads, "transform", `translate(0 ${(-((part.turn * deg * lead) / 360) % pitch).toFixed(2)})`));
      } else {
        const gear = wheel(part, scale);
        place.append(gear, svg("circle", { class: "pitch", r: (part.radius * scale).toFixed(1) }));
        turners.push((deg) => setAttribute(gear, "transform", `rotate(${(-(part.turn * deg + part.phase) % 360).toFixed(2)})`));
      }
      all.append(place);
    }
    setAttribute(sheet, "viewBox", `0 0 ${width} ${height.toFixed(0)}`);
    setAttribute(sheet, "height", height.toFixed(0));
    sheet.replaceChildren(all, ...(train.toScale ? scaleBar(scale, height) : []));
  };

  painter.add(() => {
    if (!open()) return;
    draw();
    const counts = store.snapshot?.counts ?? 0;
    const turns = counts / countsPerTurn;
    if (!still.matches || !host.dataset.turned) turners.forEach((turner) => turner(turns * 360));
    host.dataset.turned = "yes";
    const scaleWords = train.toScale ? "To scale" : "Not to scale: the sheet gives no module";
    const words = `${scaleWords}, seen from the output side, motor at the left. Teeth: ${train.words}.`;
    setText(need(host, "[data-train-words]"), `${words} The motor stands ${figure(turns, 2)} turns from zero.`);
  }, signal);
}

/** @param {number} scale @param {number} height */
function scaleBar(scale, height) {
  const y = height - 12;
  const length = BARS_MM.find((mm) => mm * scale >= LEAST_BAR_PX) ?? 200;
  return [
    svg("path", { class: "dimension", "data-both": "", d: `M 12 ${y} H ${(12 + length * scale).toFixed(1)}` }),
    svg("text", { x: (12 + (length / 2) * scale).toFixed(1), y: y - 10 }, `${length} mm`),
  ];
}
