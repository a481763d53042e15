// @ts-check
/**
 * Shapes of what the service sends. Units are in the names.
 *
 * @typedef {"offline"|"disarmed"|"ready"|"homing"|"moving"|"turning"|"jogging"|"stopping"|"faulted"} State
 * @typedef {{cause: string, text: string, advice: string, at: number|string, peak_torque_nm: number|null, angle_deg: number|null}} Fault
 * @typedef {{holder: string, since: number|string, yours: boolean}} Helm
 * @typedef {{id: string, kind?: string, state: string, planned_s: number|null, target_deg?: number|null}} Motion
 * @typedef {{state: string, round_trip_ms: number|null, errors: number, reconnects: number,
 *   firmware_version: string|null, protocol_version: number|string|null, board_id: string|null}} Link
 * @typedef {{speed_deg_s: number, accel_deg_s2: number, jerk_deg_s3: number, torque_nm: number|null}} Limits
 * @typedef {{min_deg: number|null, max_deg: number|null, endless: boolean, up_word: string|null, down_word: string|null}} Travel
 *
 * @typedef {"watch"|"drive"|"manage"} Role
 * @typedef {{kind: "phone"|"key"|"machine"|"anybody", id: string|null, name: string|null, role: Role, servo: string|null,
 *   expires_at: string|null, proof: "given"|"passphrase"|"pair-again", proven_for_s: number|null, has_passphrase: boolean}} Me
 * @typedef {{id: string, kind: "phone"|"key", name: string, role: Role, servo: string|null, created_at: string, last_used_at: string|null,
 *   expires_at: string|null, valid: boolean, has_passphrase: boolean, you: boolean, helm: string[]}} Credential
 *
 * @typedef {object} Snapshot
 * @property {string} name
 * @property {State} state
 * @property {boolean} homed
 * @property {boolean} armed
 * @property {number|null} angle_deg
 * @property {number|null} target_deg
 * @property {number|null} speed_deg_s
 * @property {number|null} torque_nm
 * @property {number|null} duty
 * @property {number|null} supply_v
 * @property {number|null} winding_c
 * @property {Fault|null} fault
 * @property {Helm|null} helm
 * @property {Motion|null} motion
 * @property {unknown} run
 * @property {Link} link
 * @property {string} source
 * @property {number|null} pulse_us
 * @property {boolean} held_up
 * @property {number} override
 * @property {Limits|null} limits
 * @property {Travel|null} travel
 * @property {number} deg_per_count
 * @property {number|null} counts
 * @property {number|null} age_s
 *
 * @typedef {{servo: string, t_s: number} & Pick<Snapshot, "angle_deg"|"target_deg"|"speed_deg_s"|"torque_nm"|
 *   "duty"|"supply_v"|"winding_c"|"counts"|"state"|"source"|"pulse_us"|"held_up">} Telemetry
 *
 * @typedef {{kind: "spur"|"worm", driven_teeth: number, driver_teeth?: number, starts?: number,
 *   module_mm?: number|null, lead_angle_deg?: number|null}} Mesh
 * @typedef {Record<string, unknown> & {name?: string, note?: string, mesh?: Mesh[],
 *   motor?: {supply_v?: number, max_winding_c?: number|null}}} Sheet
 */
export {};
