// @ts-check
/**
 * From the JSON Schema of a build sheet to what the form needs.
 *
 * @typedef {object} Field
 * @property {string} name
 * @property {"number"|"text"|"choice"|"yes"} kind
 * @property {string[]} choices
 * @property {string} hint
 * @property {unknown} otherwise what holds when it is left out; null when nothing does
 * @property {boolean} required
 * @property {boolean} signed may be below zero
 * @property {number} longest characters of a text
 *
 * @typedef {{name: string, path: import("./paths.js").Path, hint: string, required: boolean, fields: Field[]}} Table
 */

/** The sheet's own texts, its tables in their order (without the meshes), and the two kinds of mesh.
 * @param {any} schema @returns {{tables: Table[], meshes: Record<string, Table>}} */
export function tablesOf(schema) {
  const properties = Object.entries(/** @type {Record<string, any>} */ (schema.properties));
  const texts = properties.filter(([, field]) => field.type === "string").map(([name, field]) => fieldOf(name, field, []));
  /** @type {Table[]} */
  const tables = [{ name: "name and note", path: [], hint: "", required: true, fields: texts }];
  for (const [name, field] of properties) {
    const reference = field.$ref ?? field.anyOf?.[0]?.$ref;
    if (reference) tables.push(tableOf(name, definition(schema, reference), schema.required.includes(name)));
    if (name === "mesh") tables.push({ name, path: ["mesh"], hint: field.description, required: true, fields: [] });
  }
  const kinds = Object.entries(/** @type {Record<string, string>} */ (schema.properties.mesh.items.discriminator.mapping));
  const meshes = Object.fromEntries(kinds.map(([kind, reference]) => [kind, tableOf(kind, ownFirst(definition(schema, reference)), true)]));
  return { tables, meshes };
}

/** @param {any} schema @param {string} reference */
const definition = (schema, reference) => schema.$defs[reference.replace("#/$defs/", "")];

/** @param {string} name @param {any} definition @param {boolean} required @returns {Table} */
function tableOf(name, { description, properties, required: needed = [] }, required) {
  const fields = Object.entries(properties).map(([key, field]) => fieldOf(key, field, needed));
  return { name, path: [name], hint: description, required, fields: needed.length ? neededFirst(fields) : fields };
}

/** What tells a kind of mesh from others, from `kind` on, comes before what all share. @param {any} definition */
function ownFirst(definition) {
  const fields = Object.entries(definition.properties);
  const kind = fields.findIndex(([name]) => name === "kind");
  return { ...definition, properties: Object.fromEntries([...fields.slice(kind), ...fields.slice(0, kind)]) };
}

/** @param {Field[]} fields */
const neededFirst = (fields) => [...fields.filter((field) => field.required), ...fields.filter((field) => !field.required)];

/** @param {string} name @param {any} field @param {string[]} needed @returns {Field} */
function fieldOf(name, field, needed) {
  const type = field.anyOf?.[0] ?? field;
  const choices = type.enum ?? (type.const === undefined ? [] : [type.const]);
  return {
    name,
    kind: choices.length ? "choice" : type.type === "boolean" ? "yes" : type.type === "string" ? "text" : "number",
    choices,
    hint: field.description ?? "",
    otherwise: field.default ?? null,
    required: needed.includes(name),
    signed: (type.minimum ?? type.exclusiveMinimum ?? 0) < 0,
    longest: type.maxLength ?? Infinity,
  };
}
