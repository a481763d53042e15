// @ts-check
/** Drag a card by its handle to another place in its list; slid off sideways or lost, it stays where it was.
 * @param {HTMLElement} handle @param {HTMLElement} card one of the list items of its list
 * @param {(to: number) => void} drop @param {AbortSignal} signal */
export function draggable(handle, card, drop, signal) {
  /** @type {{id: number, y: number, to: number}|null} */
  let drag = null;
  const items = () => [...(card.parentElement?.children ?? [])].filter((item) => item.matches("[data-card]"));

  /** @param {PointerEvent} event where the card would go: before the first one whose middle is under the finger */
  const place = (event) => {
    const others = items().filter((item) => item !== card);
    const before = others.findIndex((item) => {
      const box = item.getBoundingClientRect();
      return event.clientY < box.top + box.height / 2;
    });
    return before < 0 ? others.length : before;
  };
  /** @param {boolean} lifted */
  const end = (lifted) => {
    if (!drag) return;
    const { to } = drag;
    drag = null;
    card.style.translate = "";
    card.removeAttribute("data-dragged");
    if (lifted && to !== items().indexOf(card)) drop(to);
  };
  handle.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    event.preventDefault();
    handle.setPointerCapture(event.pointerId);
    drag = { id: event.pointerId, y: event.clientY, to: items().indexOf(card) };
    card.setAttribute("data-dragged", "");
  }, { signal });
  handle.addEventListener("pointermove", (event) => {
    if (drag?.id !== event.pointerId) return;
    drag.to = place(event);
    card.style.translate = `0 ${event.clientY - drag.y}px`;
  }, { signal });
  handle.addEventListener("pointerup", () => end(true), { signal });
  for (const lost of ["pointercancel", "lostpointercapture"]) handle.addEventListener(lost, () => end(false), { signal });
}
