// @ts-check
const SVG = "http://www.w3.org/2000/svg";

/**
 * The element a component cannot work without.
 * @template {Element} [T=HTMLElement]
 * @param {ParentNode} root
 * @param {string} selector
 * @returns {T}
 */
export function need(root, selector) {
  const found = root.querySelector(selector);
  if (!found) throw new Error(`The page has no ${selector}`);
  return /** @type {T} */ (/** @type {unknown} */ (found));
}

/** Writes only what differs, so that a quiet servo causes no layout and no paint.
 * @param {Element} node @param {string} text */
export function setText(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

/** @param {Element} node @param {string} name @param {string|number|null} value null removes the attribute */
export function setAttribute(node, name, value) {
  if (value === null) node.removeAttribute(name);
  else if (node.getAttribute(name) !== String(value)) node.setAttribute(name, String(value));
}

/** @param {Element} node @param {boolean} hidden */
export function setHidden(node, hidden) {
  if (node.hasAttribute("hidden") !== hidden) node.toggleAttribute("hidden", hidden);
}

/** @param {HTMLButtonElement|HTMLInputElement} control @param {boolean} enabled */
export function setEnabled(control, enabled) {
  if (control.disabled === enabled) control.disabled = !enabled;
}

/**
 * @template {keyof SVGElementTagNameMap} K
 * @param {K} name
 * @param {Record<string, string|number>} [attributes]
 * @param {(Node|string)[]} children
 * @returns {SVGElementTagNameMap[K]}
 */
export function svg(name, attributes = {}, ...children) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, String(value));
  node.append(...children);
  return node;
}

/**
 * @template {keyof HTMLElementTagNameMap} K
 * @param {K} name
 * @param {Record<string, string>} [attributes]
 * @param {(Node|string)[]} children
 * @returns {HTMLElementTagNameMap[K]}
 */
export function html(name, attributes = {}, ...children) {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  node.append(...children);
  return node;
}
