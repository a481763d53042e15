"""The figures of a build: every one with its unit in its name, what it is, and why it is that.

Torques, speeds and angles are those of the output unless a name says motor. What the sheet does not say enough for is None.
"""

from fractions import Fraction
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, PlainSerializer

from geartender.build.why import Why

Exact = Annotated[Fraction, PlainSerializer(float, return_type=float)]

LINE = "straight line of the brushed DC motor (MIT, D.C. Motor Torque/Speed Curve Tutorial, section 3)"
EXACT = "counting"
GEARING = "handbooks of gearing, full-depth teeth of 20° at their standard centre distance"
LEWIS = "Lewis; Shigley's Mechanical Engineering Design section 14-1, form factors of table 14-2"
WORM = "Mechanical Engineer's Data Handbook section 2.10.6; Elements of Metric Gear Technology equations 16-21, 16-23"
ONE_BODY = "one warm body with copper's resistance; IEC 60034-1 for the duty types (clauses from memory)"
RULE = "rule of thumb of this program, in build/suggest.py"
OHM = "Ohm's law"


class Group(BaseModel):
    """What all groups of figures share: read-only, with descriptions from their docstrings."""

    model_config = ConfigDict(frozen=True, use_attribute_docstrings=True)


class MotorFigures(Group):
    """The motor alone, with a cold winding at supply_v."""

    resistance_ohm: Annotated[
        float, Why("R, or U / Is, or from Ts = (U - I0·R)² / (R·w0)", ("motor.winding_ohm", "motor.supply_v"), LINE)
    ]
    """Resistance of the winding."""
    kt_nm_per_a: Annotated[
        float,
        Why(
            "(U - I0·R) / w0",
            ("motor.supply_v", "motor.no_load_current_a", "motor.no_load_rpm", "motor.resistance_ohm"),
            LINE,
        ),
    ]
    """Torque for each ampere; as well the back-EMF in V for each rad/s."""
    stall_current_a: Annotated[float, Why("U / R", ("motor.supply_v", "motor.resistance_ohm"), LINE)]
    """Current with the shaft held."""
    stall_torque_nm: Annotated[
        float, Why("Kt · (Is - I0)", ("motor.kt_nm_per_a", "motor.stall_current_a", "motor.no_load_current_a"), LINE)
    ]
    """Torque with the shaft held."""
    max_power_w: Annotated[float, Why("w0 · Ts / 4", ("motor.no_load_rpm", "motor.stall_torque_nm"), LINE)]
    """Greatest power at the shaft."""
    max_power_rpm: Annotated[float, Why("n0 / 2", ("motor.no_load_rpm",), LINE)]
    """Speed at the greatest power."""
    max_power_torque_nm: Annotated[float, Why("Ts / 2", ("motor.stall_torque_nm",), LINE)]
    """Torque at the greatest power."""
    best_current_a: Annotated[float, Why("√(I0 · Is)", ("motor.no_load_current_a", "motor.stall_current_a"), LINE)]
    """Current at the best efficiency."""
    best_torque_nm: Annotated[float, Why("Kt · (I - I0)", ("motor.kt_nm_per_a", "motor.best_current_a"), LINE)]
    """Torque at the best efficiency."""
    best_rpm: Annotated[float, Why("n0 · (1 - T / Ts)", ("motor.no_load_rpm", "motor.best_torque_nm"), LINE)]
    """Speed at the best efficiency."""


class SpeedResolution(Group):
    """How finely the speed of the output is known, at one speed."""

    at_deg_s: float
    """The speed that these hold for: limits.speed_deg_s, else the suggested one."""
    by_window_deg_s: Annotated[float, Why("d / T", ("deg_per_count",), "counts added up over 20 ms")]
    """Step of the speed where counts are added up over a window."""
    by_interval_deg_s: Annotated[float, Why("v² · dt / d", ("deg_per_count",), "time between two counts to 1 µs")]
    """Step of the speed where the time between two counts is taken."""
    interval_better_below_deg_s: Annotated[float, Why("d / √(dt · T)", ("deg_per_count",), "where the two are equal")]
    """Speed below which the time between counts tells more than the window."""


class CurvePoint(Group):
    """A point on the line from no-load speed to stall, at the output."""

    speed_deg_s: float
    torque_nm: float
    current_a: float
    """Motor current."""
    power_w: float
    """Power at the output."""
    efficiency: float
    """Share of the electrical power that reaches the output."""


class WorkingPoint(Group):
    """Running steadily at the speed limit against the load's weight and friction."""

    speed_deg_s: float
    """limits.speed_deg_s, else the suggested speed."""
    torque_nm: Annotated[float, Why("|gravity| + friction", ("load.gravity_nm", "load.friction_nm"), "statics")]
    """Torque at the output."""
    current_a: Annotated[
        float, Why("I0 + T / (Kt · ratio · efficiency)", ("motor.kt_nm_per_a", "gear_ratio", "train_efficiency"), LINE)
    ]
    """Motor current."""
    duty: Annotated[float, Why("(Ke·w + I·R) / U", ("motor.kt_nm_per_a", "motor.resistance_ohm"), LINE)]
    """Share of the supply's voltage that it takes."""
    electrical_w: Annotated[float, Why("duty · U · I", ("working_point.duty", "working_point.current_a"), OHM)]
    """Power that the motor takes."""
    reachable: bool
    """Whether the bridge's highest duty and current are enough."""


class MeshFigures(Group):
    """One mesh, driver and driven gear, from the motor to the output."""

    kind: Literal["spur", "worm"]
    ratio: Annotated[Exact, Why("driven / driver teeth", ("mesh[].driven_teeth", "mesh[].driver_teeth"), EXACT)]
    """Turns of the driver for one of the driven gear."""
    efficiency: Annotated[
        float,
        Why(
            "as given; worm: (cos φ - f·tan λ) / (cos φ + f·cot λ)",
            ("mesh[].efficiency", "mesh[].lead_angle_deg", "mesh[].friction"),
            WORM,
        ),
    ]
    """Share of the power that passes towards the output."""
    back_efficiency: Annotated[
        float | None,
        Why(
            "(cos φ·sin λ - f·cos λ) / ((cos φ·cos λ + f·sin λ)·tan λ)",
            ("mesh[].lead_angle_deg", "mesh[].pressure_angle_deg", "mesh[].friction"),
            WORM,
        ),
    ]
    """Share of the power that passes a worm towards the motor; 0 or less where it locks itself. None for spur gears."""
    self_locking: bool
    """Whether the output cannot turn the motor through this mesh."""
    self_locking_margin: Annotated[
        float | None, Why("f / (cos φ · tan λ)", ("mesh[].friction", "mesh[].lead_angle_deg"), WORM)
    ]
    """Friction of a worm as a multiple of what just locks it: from 1 on it locks."""
    centre_distance_mm: Annotated[
        float | None, Why("(d1 + d2) / 2", ("mesh[].module_mm", "mesh[].driver_teeth", "mesh[].driven_teeth"), GEARING)
    ]
    """Distance of the axles."""
    driver_outside_mm: Annotated[float | None, Why("m · (z + 2)", ("mesh[].module_mm", "mesh[].driver_teeth"), GEARING)]
    """Diameter of the driver over its teeth."""
    driven_outside_mm: Annotated[float | None, Why("m · (z + 2)", ("mesh[].module_mm", "mesh[].driven_teeth"), GEARING)]
    """Diameter of the driven gear over its teeth: will it fit the printer's bed?"""
    contact_ratio: Annotated[
        float | None,
        Why(
            "(√(ra1² - rb1²) + √(ra2² - rb2²) - C·sin φ) / (π·m·cos φ)",
            ("mesh[].driver_teeth", "mesh[].driven_teeth"),
            GEARING,
        ),
    ]
    """Pairs of teeth in contact on the average; None for a worm."""
    undercut: Annotated[
        bool | None, Why("fewer teeth than 2 / sin² φ", ("mesh[].driver_teeth", "mesh[].driven_teeth"), GEARING)
    ]
    """Whether the foot of the smaller gear's teeth is cut thin; None for a worm."""
    hunting: Annotated[bool, Why("no common divisor", ("mesh[].driver_teeth", "mesh[].driven_teeth"), GEARING)]
    """Whether every tooth meets every other, so that wear spreads evenly."""
    backlash_deg: Annotated[
        float | None,
        Why(
            "(play + 2·ΔC·tan φ) / radius of the driven gear / ratio behind it",
            ("mesh[].backlash_mm", "mesh[].centre_error_mm", "mesh[].module_mm"),
            GEARING,
        ),
    ]
    """Play that this mesh makes at the output."""
    pitch_line_m_s: Annotated[float | None, Why("w · d / 2", ("motor.no_load_rpm", "mesh[].module_mm"), "kinematics")]
    """Speed of the driven gear's pitch circle at the motor's no-load speed."""
    sliding_m_s: Annotated[float | None, Why("worm's pitch-line speed / cos λ", ("mesh[].lead_angle_deg",), WORM)]
    """Speed at which worm and wheel slide at the motor's no-load speed; None for spur gears."""
    velocity_factor: Annotated[
        float | None, Why("(6.1 + V) / 6.1", ("meshes[].pitch_line_m_s",), "Barth, cut or milled teeth; V in m/s")
    ]
    """How much more the teeth are loaded at that speed than at rest."""
    tooth_force_n: Annotated[
        float | None, Why("2 · T / d", ("motor.stall_torque_nm", "mesh[].module_mm", "mesh[].efficiency"), LEWIS)
    ]
    """Tangential force on a tooth with the motor stalled at the full supply."""
    root_stress_mpa: Annotated[
        float | None, Why("Wt / (b · m · Y)", ("meshes[].tooth_force_n", "mesh[].face_mm", "mesh[].module_mm"), LEWIS)
    ]
    """Bending stress at the root of the weaker gear with the motor stalled."""
    overload_force_n: Annotated[float | None, Why("2 · T / d", ("overload.torque_nm", "mesh[].module_mm"), LEWIS)]
    """Tangential force on a tooth at the overload torque."""
    overload_stress_mpa: Annotated[
        float | None,
        Why(
            "Kv · Wt / (b · m · Y)",
            ("meshes[].overload_force_n", "meshes[].velocity_factor", "mesh[].face_mm"),
            LEWIS,
        ),
    ]
    """Bending stress at the overload torque, running: with the velocity factor."""
    allowable_mpa: float | None
    """The stress that the owner trusts the teeth with: an assumption, not a figure."""
    limit_torque_nm: Annotated[
        float | None,
        Why("σ · b · m · Y · d / 2, referred to the output", ("mesh[].allowable_mpa", "mesh[].face_mm"), LEWIS),
    ]
    """Torque of the output at which this mesh's root reaches the allowable stress, at rest."""
    no_strength: str | None
    """Why no strength is claimed for this mesh; None where one is."""


class SuggestedLimits(Group):
    """Limits for [limits], under the same names, each with what it comes from."""

    speed_deg_s: Annotated[
        float,
        Why("least of: 0.6 of no-load speed; the sudden stop's", ("no_load_output_deg_s", "bridge.max_duty"), RULE),
    ]
    accel_deg_s2: Annotated[
        float,
        Why(
            "torque left / inertia, and the speed in 0.25 s at the quickest",
            ("load.inertia_kg_m2", "motor.rotor_inertia_kg_m2", "load.gravity_nm", "load.friction_nm"),
            RULE,
        ),
    ]
    jerk_deg_s3: Annotated[float, Why("the acceleration in 0.1 s", ("suggested_limits.accel_deg_s2",), RULE)]
    speed_because: str
    accel_because: str
    jerk_because: str


class ShortTime(Group):
    """A short-time duty (S2): so long from cold, then cooled again."""

    duty_type: str
    """As IEC 60034-1 writes it: S2 10 min."""
    for_s: float
    torque_nm: float
    current_a: float


class Periodic(Group):
    """An intermittent periodic duty (S3) of a ten-minute cycle."""

    duty_type: str
    """As IEC 60034-1 writes it: S3 25 %."""
    cyclic_factor: float
    """Share of the cycle that is run."""
    torque_nm: float
    current_a: float


class WarmPoint(Group):
    """The winding's temperature at a time."""

    t_s: float
    winding_c: float


class Warming(Group):
    """How the winding warms under a constant current from ambient."""

    load: Literal["working", "overload", "stall"]
    current_a: float
    for_ever_c: Annotated[
        float | None,
        Why("(Ta + Rth·P0·(1 - 20·α)) / (1 - Rth·P0·α), P0 = I²·R20", ("motor.thermal_k_per_w",), ONE_BODY),
    ]
    """Temperature that it ends at; None where it runs away."""
    seconds_to_limit: Annotated[
        float | None,
        Why("τ/(1 - β) · ln of the ways", ("motor.thermal_time_s", "motor.max_winding_c"), ONE_BODY),
    ]
    """Time to the highest temperature from ambient; None where it never gets there, or the time constant is not given."""
    points: list[WarmPoint]


class HeatFigures(Group):
    """How warm the winding gets, and how much it may be asked for."""

    ambient_c: float
    max_winding_c: float
    continuous_current_a: Annotated[
        float,
        Why(
            "√((T - Ta) / (Rth · R(T)))", ("motor.max_winding_c", "motor.thermal_k_per_w", "motor.ambient_c"), ONE_BODY
        ),
    ]
    """Motor current that ends at the highest temperature (S1)."""
    runaway_current_a: Annotated[float, Why("1 / √(Rth · R20 · α)", ("motor.thermal_k_per_w",), ONE_BODY)]
    """Current from which on the winding warms without end."""
    s2: list[ShortTime]
    s3: list[Periodic]
    warming: list[Warming]


class SupplyFigures(Group):
    """What supply, bridge and wiring must carry, and how long a battery lasts."""

    stall_current_a: Annotated[float, Why("U / (R + Rs)", ("supply.highest_v", "supply.resistance_ohm"), OHM)]
    """Current at a stall with the highest voltage and nothing to limit it."""
    carry_current_a: Annotated[float, Why("least of stall and limit", ("bridge.current_limit_a",), OHM)]
    """Current that bridge and wiring must carry: the bridge's limit where it is lower."""
    working_current_a: Annotated[
        float, Why("duty · I + standby / U", ("working_point.duty", "working_point.current_a", "supply.standby_w"), OHM)
    ]
    """Current from the supply at the working point, standby included."""
    standby_current_a: Annotated[float, Why("P / U", ("supply.standby_w",), OHM)]
    """Current from the supply while nothing moves."""
    stall_sag_v: Annotated[float | None, Why("I · Rs", ("supply.resistance_ohm",), OHM)]
    """How far the voltage falls at the current to carry."""
    working_sag_v: Annotated[float | None, Why("I · Rs", ("supply.resistance_ohm",), OHM)]
    """How far the voltage falls at the working point."""
    rated_current_a: Annotated[float | None, Why("C / H", ("supply.capacity_ah", "supply.rated_hours"), "definition")]
    """Current at which the battery's capacity is stated."""
    working_hours: Annotated[
        float | None,
        Why(
            "H · (C / (I·H))^k from the rated current on, below it C / I",
            ("supply.capacity_ah", "supply.rated_hours", "supply.peukert_exponent"),
            "Peukert's law with the hour rating (from memory)",
        ),
    ]
    """Hours that the battery lasts at the working point without a pause."""
    standby_hours: Annotated[float | None, Why("as working_hours", ("supply.standby_w",), "as working_hours")]
    """Hours that the battery lasts while nothing moves."""


class InputFigures(Group):
    """What a disc or home sensor becomes at the pin."""

    high_v: Annotated[
        float | None,
        Why(
            "clamp: min(V, Vz); divider: V·Rd / (R + Rd)",
            ("input.sensor_high_v", "input.clamp_v", "input.divider_ohm"),
            OHM,
        ),
    ]
    """Voltage at the pin while the sensor is high; None where nothing limits the current through the clamp."""
    low_v: Annotated[float | None, Why("as high_v", ("input.sensor_low_v",), OHM)]
    """Voltage at the pin while the sensor is low."""
    clamp_current_ma: Annotated[float | None, Why("(V - Vz) / R", ("input.series_ohm", "input.clamp_v"), OHM)]
    """Current through the Zener diode while the sensor is high."""
    clamp_mw: Annotated[float | None, Why("Vz · I", ("input.clamp_current_ma",), OHM)]
    """Power in the Zener diode."""
    series_mw: Annotated[float | None, Why("I² · R", ("input.clamp_current_ma",), OHM)]
    """Power in the series resistor."""
    high_ok: Annotated[
        bool,
        Why("2.0 V ≤ high ≤ supply of the pins", ("input.high_v", "input.logic_v"), "JEDEC JESD8C.01 at 2.7 to 3.6 V"),
    ]
    """Whether the pin reads high for certain, and stands it."""
    low_ok: Annotated[bool, Why("low ≤ 0.8 V", ("input.low_v", "input.logic_v"), "JEDEC JESD8C.01 at 2.7 to 3.6 V")]
    """Whether the pin reads low for certain."""
    high_margin_v: Annotated[float | None, Why("high - 2.0 V", ("input.high_v",), "JEDEC JESD8C.01")]
    """How far the high level is above the least that reads high."""
    low_margin_v: Annotated[float | None, Why("0.8 V - low", ("input.low_v",), "JEDEC JESD8C.01")]
    """How far the low level is below the most that reads low."""
    rise_s: Annotated[
        float | None, Why("R·C · ln((V∞ - V0) / (V∞ - 2.0))", ("input.series_ohm", "input.capacitor_f"), "first order")
    ]
    """Delay until the pin reads a rising edge; None where there is no capacitor, or it never does."""
    fall_s: Annotated[float | None, Why("R·C · ln(V0 / 0.8) for a low of 0 V", ("input.capacitor_f",), "first order")]
    """Delay until the pin reads a falling edge."""
    count_s: Annotated[float | None, Why("1 / highest count rate", ("highest_count_rate_hz",), EXACT)]
    """Shortest time between two counts; None for a motor that does not turn."""
    edges_ok: bool | None
    """Whether both delays are shorter than that; None without a capacitor."""


class PulsePoint(Group):
    """A width and its angle."""

    width_us: float
    angle_deg: float


class PulseFigures(Group):
    """The RC pulse: angle for width, straight between the points."""

    points: list[PulsePoint]
    us_per_deg: Annotated[float, Why("widths / angles", ("pulse.min_us", "pulse.max_us"), "common practice, no source")]
    """Change of width for a degree, over the whole span."""


class Figures(Group):
    """Figures of a build, in the units of their names. Ratios are exact here and become plain numbers in JSON."""

    counts_per_motor_turn: Annotated[int, Why("4 · marks", ("disc.marks_per_turn",), EXACT)]
    """Counts in one turn of the motor."""
    gear_ratio: Annotated[Exact, Why("product of driven / driver teeth", ("mesh[].driven_teeth",), EXACT)]
    """Turns of the motor for one turn of the output."""
    output_sense: Annotated[
        Literal["same", "opposite"] | None, Why("turned over by each pair of outside gears", ("mesh[].kind",), EXACT)
    ]
    """Whether the output turns as the motor does; None behind a worm, where it depends on the hand of its thread."""
    counts_per_output_turn: Annotated[Exact, Why("counts · ratio", ("counts_per_motor_turn", "gear_ratio"), EXACT)]
    """Counts in one turn of the output."""
    deg_per_count: Annotated[Exact, Why("360° / counts", ("counts_per_output_turn",), EXACT)]
    """Angle of the output for one count."""
    count_rate_hz: Annotated[float, Why("counts · n0 / 60", ("counts_per_motor_turn", "motor.no_load_rpm"), EXACT)]
    """Counts per second at the motor's no-load speed."""
    highest_count_rate_hz: Annotated[
        float,
        Why("counts · (duty·U - I0·R) / Ke", ("supply.highest_v", "bridge.max_duty", "counts_per_motor_turn"), LINE),
    ]
    """Counts per second at the highest speed that supply and bridge allow."""
    speed_resolution: SpeedResolution
    no_load_output_deg_s: Annotated[float, Why("n0 · 6 / ratio", ("motor.no_load_rpm", "gear_ratio"), EXACT)]
    """Speed of the output at the motor's no-load speed."""
    seconds_per_60_deg: Annotated[float, Why("60 / speed", ("no_load_output_deg_s",), EXACT)]
    """Time for 60 degrees at no-load speed."""
    motor: MotorFigures
    output_stall_torque_nm: Annotated[
        float, Why("Ts · ratio · efficiency", ("motor.stall_torque_nm", "gear_ratio", "train_efficiency"), LINE)
    ]
    """Torque at the output with the motor stalled at the full supply. The teeth may break far below it."""
    output_max_power_w: Annotated[
        float, Why("w0 · Ts / 4 · efficiency", ("motor.max_power_w", "train_efficiency"), LINE)
    ]
    """Greatest power at the output, at half the no-load speed."""
    max_efficiency: Annotated[
        float,
        Why("(1 - √(I0 / Is))²", ("motor.no_load_current_a", "motor.stall_current_a"), f"{LINE}; from memory"),
    ]
    """Greatest share of the electrical power that reaches the motor's shaft."""
    train_efficiency: Annotated[float, Why("product of the meshes'", ("meshes[].efficiency",), GEARING)]
    """Share of the motor's power that reaches the output."""
    self_locking: Annotated[bool, Why("any worm with f ≥ cos φ · tan λ", ("meshes[].self_locking_margin",), WORM)]
    """Whether the output cannot turn the motor."""
    curve: list[CurvePoint]
    """From standstill to no-load speed."""
    working_point: WorkingPoint
    meshes: list[MeshFigures]
    """From the motor to the output."""
    weakest_mesh: Annotated[int | None, Why("least limit_torque_nm", ("meshes[].limit_torque_nm",), LEWIS)]
    """Which mesh reaches its allowable stress first, counted from 0; None where no limit is known."""
    backlash_deg: Annotated[float | None, Why("sum of the meshes'", ("meshes[].backlash_deg",), GEARING)]
    """Play at the output of all meshes that say theirs; None where none does."""
    suggested_overload_nm: Annotated[
        float,
        Why(
            "least of: 0.8 of what the weakest mesh bears running; 0.5 of stall; 0.8 of the bridge's limit",
            ("meshes[].limit_torque_nm", "output_stall_torque_nm", "bridge.current_limit_a"),
            RULE,
        ),
    ]
    """Torque at the output to give up at."""
    suggested_overload_current_a: Annotated[
        float, Why("I0 + T / (Kt · ratio · efficiency)", ("suggested_overload_nm", "motor.kt_nm_per_a"), LINE)
    ]
    """Motor current at that torque."""
    suggested_overload_duty: Annotated[float, Why("I · R / U", ("suggested_overload_current_a",), LINE)]
    """Duty at that torque with the output standing still."""
    sudden_stop_torque_nm: Annotated[
        float | None,
        Why(
            "w · ratio · √(J · k), from ½·J·ratio²·w² = ½·T²/k",
            ("motor.rotor_inertia_kg_m2", "load.stiffness_nm_per_deg", "gear_ratio", "sudden_stop_at_deg_s"),
            "conservation of energy",
        ),
    ]
    """Torque at the output that the rotor's own energy makes when the output is stopped dead, without any drive."""
    sudden_stop_at_deg_s: float | None
    """The speed that this holds for: limits.speed_deg_s, else no-load speed."""
    sudden_stop_speed_deg_s: Annotated[
        float | None, Why("w for that torque", ("meshes[].limit_torque_nm", "sudden_stop_torque_nm"), "as above")
    ]
    """Speed at which a sudden stop makes what the weakest mesh bears: the highest worth allowing."""
    suggested_limits: SuggestedLimits
    continuous_torque_nm: Annotated[
        float | None,
        Why("Kt · (I - I0) · ratio · efficiency, at most stall", ("heat.continuous_current_a",), ONE_BODY),
    ]
    """Torque at the output that the winding stands for ever; None without max_winding_c and thermal_k_per_w."""
    heat: HeatFigures | None
    supply: SupplyFigures
    input: InputFigures | None
    pulse: PulseFigures | None
    warnings: list[str]
    """What is wrong with this build, worst first, one plain sentence each."""
    notes: list[str]
    """The warnings, then assumptions and cautions, in plain words."""
