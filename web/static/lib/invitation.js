// @ts-check
const PREFIX = "#pair=";

/** The secret of an invitation that came with the address, which loses it at once; "" when there is none.
 * @returns {string} */
export function takeInvitation() {
  if (!location.hash.startsWith(PREFIX)) return "";
  const secret = location.hash.slice(PREFIX.length);
  history.replaceState(null, "", location.pathname + location.search);
  return secret;
}
