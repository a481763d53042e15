"""The tables of a build sheet. Every field has its unit in its name, and a description that says how to find its value.

The descriptions are the hints that a mistake is reported with. Ranges refuse slips of the pen (a unit mixed up, a digit too many),
not unusual machines. What follows from a table that is left out stands in the table's own description.
"""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

# 60 V DC is where common practice stops calling a supply harmless to touch; the firmware's settings end there too.
HIGHEST_SUPPLY_V = 60.0
# Far more turns than any lever or winch makes; below it a double still resolves a count of any disc.
FARTHEST_DEG = 1e6
# In any of the units nothing real is smaller; much smaller numbers have no reciprocal that a double can hold.
NOTHING_BELOW = 1e-15
# GPIO numbers of the RP2040; those that its analog converter can read.
PIN_NUMBERS = range(30)
ANALOG_PINS = range(26, 30)

Count = Annotated[int, Field(ge=1, le=10_000)]
Angle = Annotated[float, Field(ge=-FARTHEST_DEG, le=FARTHEST_DEG)]
Share = Annotated[float, Field(gt=0.0, le=1.0)]
Torque = Annotated[float, Field(gt=0.0, le=1e5)]
Speed = Annotated[float, Field(gt=0.0, le=1e5)]
PulseWidth = Annotated[int, Field(ge=200, le=3000)]
Pin = Annotated[int, Field(ge=PIN_NUMBERS.start, lt=PIN_NUMBERS.stop)]


class Table(BaseModel):
    """What all tables share: unknown keys, text in place of numbers, NaN and infinities are refused; read-only."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, strict=True, allow_inf_nan=False, use_attribute_docstrings=True
    )

    @model_validator(mode="before")
    @classmethod
    def _next_to_nothing_is_nothing(cls, given: Any) -> Any:
        if not isinstance(given, dict):
            return given
        return {
            key: 0.0 if isinstance(value, float) and abs(value) < NOTHING_BELOW else value
            for key, value in given.items()
        }


class Motor(Table):
    """The brushed DC motor, from its data sheet or measured, with at least one value at stall or of the winding."""

    supply_v: Annotated[float, Field(ge=1.0, le=HIGHEST_SUPPLY_V)]
    """Give the voltage at which the other values hold, and which the supply delivers."""
    no_load_rpm: Annotated[float, Field(gt=0.0, le=200_000.0)]
    """Give the speed of the free-running motor, before any gear, at supply_v."""
    no_load_current_a: Annotated[float, Field(ge=0.0, le=30.0)]
    """Give the current of the free-running motor at supply_v."""
    winding_ohm: Annotated[float, Field(gt=0.0, le=10_000.0)] | None = None
    """Measure the resistance across the terminals, cold, turning the shaft to several places; take the lowest reading."""
    stall_current_a: Annotated[float, Field(gt=0.0, le=500.0)] | None = None
    """Give the current at supply_v with the shaft held."""
    stall_torque_nm: Annotated[float, Field(gt=0.0, le=1000.0)] | None = None
    """Give the torque at supply_v with the shaft held, in N·m (1 kgf·cm is 0.0981 N·m)."""
    rotor_inertia_kg_m2: Annotated[float, Field(gt=0.0, le=1.0)] | None = None
    """Give the inertia of the rotor with the disc and the first pinion, in kg·m² (1 g·cm² is 1e-7 kg·m²)."""
    max_winding_c: Annotated[float, Field(ge=30.0, le=250.0)] | None = None
    """Give the highest temperature that the winding stands, in °C."""
    thermal_k_per_w: Annotated[float, Field(gt=0.0, le=1000.0)] | None = None
    """Give how many kelvin the winding warms for each watt of heat, in the housing it is built into."""
    thermal_time_s: Annotated[float, Field(gt=0.0, le=1e6)] | None = None
    """Give the time in which a warming winding makes 63 % of its way, in s."""
    ambient_c: Annotated[float, Field(ge=-40.0, le=80.0)] = 25.0
    """Give the temperature of the air round the motor on the warmest day, in °C."""


class Bridge(Table):
    """The H-bridge. Left out: two PWM inputs at 20 kHz, the full duty, and no current limit of its own."""

    inputs: Literal["two_pwm", "pwm_direction"] = "two_pwm"
    """Say whether the bridge takes a PWM signal for each direction, or one and a direction signal."""
    pwm_hz: Annotated[int, Field(ge=50, le=100_000)] = 20_000
    """Give the PWM frequency; above 18000 Hz most people do not hear it."""
    max_duty: Share = 1.0
    """Give the highest duty as a share, at most 1; less keeps a low-voltage motor whole on a higher supply."""
    swapped: bool = False
    """Say true where driving up turns the output down: as if the motor's two wires were swapped."""
    current_limit_a: Annotated[float, Field(gt=0.0, le=500.0)] | None = None
    """Give the current that the bridge can carry for seconds, not its peak."""


class Disc(Table):
    """The disc on the motor shaft and the two sensors that read it."""

    marks_per_turn: Count
    """Count the magnets or slots that pass one sensor in a turn of the motor."""
    sensors: Annotated[int, Field(ge=2, le=2)] = 2
    """Fit two sensors a quarter of a mark apart: with one the direction is not known."""


class Input(Table):
    """How a sensor meets the pin. Left out: nothing is known, and the input is not checked."""

    sensor_high_v: Annotated[float, Field(ge=0.0, le=HIGHEST_SUPPLY_V)]
    """Measure the voltage at the sensor's output while it is high."""
    sensor_low_v: Annotated[float, Field(ge=0.0, le=HIGHEST_SUPPLY_V)] = 0.0
    """Measure the voltage at the sensor's output while it is low."""
    series_ohm: Annotated[float, Field(ge=0.0, le=1e7)] = 0.0
    """Give the resistor between sensor and pin; 0 if there is none."""
    clamp_v: Annotated[float, Field(gt=0.0, le=HIGHEST_SUPPLY_V)] | None = None
    """Give the voltage of the Zener diode from the pin to ground."""
    divider_ohm: Annotated[float, Field(gt=0.0, le=1e7)] | None = None
    """Give the resistor from the pin to ground that divides the voltage."""
    capacitor_f: Annotated[float, Field(gt=0.0, le=1e-3)] | None = None
    """Give the capacitor from the pin to ground in farad (10 nF is 10e-9)."""
    logic_v: Annotated[float, Field(ge=1.0, le=5.5)] = 3.3
    """Give the supply voltage of the microcontroller's pins."""


class Gear(Table):
    """What meshes of any kind share. What is left out is not computed, or assumed where a figure's note says so."""

    driven_teeth: Count
    """Count the teeth of the driven gear."""
    module_mm: Annotated[float, Field(ge=0.05, le=50.0)] | None = None
    """Give the module in mm: tip diameter divided by the number of teeth plus two."""
    face_mm: Annotated[float, Field(ge=0.1, le=1000.0)] | None = None
    """Measure the width of the teeth along the axis, the narrower gear of the two."""
    allowable_mpa: Annotated[float, Field(gt=0.0, le=2000.0)] | None = None
    """Give the bending stress you trust the weaker gear's teeth with; for printed teeth it is your own assumption."""
    backlash_mm: Annotated[float, Field(ge=0.0, le=20.0)] | None = None
    """Measure the play at the pitch circle: rock one gear with the other held."""
    centre_error_mm: Annotated[float, Field(ge=0.0, le=10.0)] | None = None
    """Give how much farther apart the axles stand than the gears' own centre distance; its play adds to backlash_mm."""


class SpurMesh(Gear):
    """A pair of spur gears, driver first."""

    kind: Literal["spur"]
    """Say "spur" for two toothed wheels, "worm" for a worm and its wheel."""
    driver_teeth: Count
    """Count the teeth of the gear that drives."""
    efficiency: Share | None = None
    """Give the share of the power that passes, above 0 and at most 1."""


class WormMesh(Gear):
    """A worm that drives a wheel. Its efficiency follows from lead angle, pressure angle and friction."""

    kind: Literal["worm"]
    """Say "spur" for two toothed wheels, "worm" for a worm and its wheel."""
    starts: Annotated[int, Field(ge=1, le=20)]
    """Count the threads that begin at the end of the worm."""
    lead_angle_deg: Annotated[float, Field(gt=0.0, lt=90.0)]
    """Give the lead angle: the arctangent of lead / (π · pitch diameter of the worm)."""
    pressure_angle_deg: Annotated[float, Field(ge=5.0, le=45.0)] = 20.0
    """Give the normal pressure angle; 20 for most, 14.5 for old ones."""
    friction: Annotated[float, Field(gt=0.0, le=1.0)] | None = None
    """Give the coefficient of friction between the flanks: about 0.05 greased metal, 0.1 to 0.2 plastic."""


Mesh = Annotated[SpurMesh | WormMesh, Field(discriminator="kind")]


class Home(Table):
    """The home mark on the output. Left out: the servo cannot find its position, so it cannot move."""

    angle_deg: Angle
    """Give the angle of the output at the edge of the home mark."""
    seek: Literal["down", "up"]
    """Say in which direction the mark is looked for: "down" towards smaller angles, or "up"."""
    speed_deg_s: Speed
    """Give the speed of the search; at most that of [limits]."""
    mark_is: Literal["low", "high"] = "low"
    """Say what the pin reads while the sensor sees the mark: "low" for most switching sensors, or "high"."""


class Travel(Table):
    """The angles the output may have: min_deg and max_deg, or endless. Left out: the servo cannot move."""

    min_deg: Angle | None = None
    """Give the smallest angle the output may have."""
    max_deg: Angle | None = None
    """Give the largest angle the output may have."""
    endless: bool = False
    """Say true for an output that may turn for ever, without min_deg and max_deg."""
    up_word: Annotated[str, Field(min_length=1, max_length=16)] = "Up"
    """Give the word for larger angles, at most 16 characters."""
    down_word: Annotated[str, Field(min_length=1, max_length=16)] = "Down"
    """Give the word for smaller angles, at most 16 characters."""


class Limits(Table):
    """What every motion keeps to. Left out: the servo cannot move."""

    speed_deg_s: Speed
    """Give the highest speed of the output; the figures suggest one."""
    accel_deg_s2: Annotated[float, Field(gt=0.0, le=1e7)]
    """Give the highest acceleration of the output; the figures suggest one."""
    jerk_deg_s3: Annotated[float, Field(gt=0.0, le=1e9)]
    """Give the highest change of acceleration per second; the figures suggest one."""
    torque_nm: Torque | None = None
    """Give the highest torque that a motion may ask of the output. Left out: the overload torque stands."""


class Load(Table):
    """What the output moves. Left out, whole or in part: taken as 0, and as rigid."""

    inertia_kg_m2: Annotated[float, Field(ge=0.0, le=1e6)] = 0.0
    """Give the inertia about the output's axis; a rod of mass m and length l turned at its end has m·l²/3."""
    gravity_nm: Annotated[float, Field(ge=-1e5, le=1e5)] = 0.0
    """Give the torque of weight or spring on the output, positive where it pulls towards smaller angles."""
    friction_nm: Annotated[float, Field(ge=0.0, le=1e5)] = 0.0
    """Give the torque that just keeps the output moving, without its weight."""
    stiffness_nm_per_deg: Annotated[float, Field(gt=0.0, le=1e6)] | None = None
    """Give the torque at the output that twists the train by one degree while the motor is held."""


class Overload(Table):
    """When to give up. Left out, whole or in part: the suggested torque, 100 ms, stop."""

    torque_nm: Torque | None = None
    """Give the torque at the output that is too much; the figures suggest one."""
    for_ms: Annotated[float, Field(ge=2.0, le=10_000.0)] = 100.0
    """Give how long it must last, 2 to 10000 ms."""
    action: Literal["stop", "ease"] = "stop"
    """Say "stop" to stop with a fault, or "ease" to hold the torque there and go on."""


class Rest(Table):
    """What happens at the end of a move. Left out: the motor brakes, and the shortest way is taken."""

    after_move: Literal["brake", "hold", "coast"] = "brake"
    """Say "brake" (motor shorted), "hold" (position controlled) or "coast" (motor free)."""
    approach: Literal["shortest", "from_below", "from_above"] = "shortest"
    """Say from which side targets are approached; always the same side takes backlash out of the result."""


class Pulse(Table):
    """The RC pulse input. Left out: there is none."""

    enabled: bool = True
    """Say false to keep the values but leave the input off."""
    min_us: PulseWidth = 1000
    """Give the pulse width in µs at min_deg."""
    mid_us: PulseWidth = 1500
    """Give the pulse width in µs at the middle."""
    max_us: PulseWidth = 2000
    """Give the pulse width in µs at max_deg."""
    min_deg: Angle | None = None
    """Give the angle at min_us. Left out: the lower end of the travel."""
    max_deg: Angle | None = None
    """Give the angle at max_us. Left out: the upper end of the travel."""
    lost_after_ms: Annotated[float, Field(ge=20.0, le=60_000.0)] = 100.0
    """Give the time without a pulse after which it counts as lost; a frame is commonly 20 ms."""
    on_lost: Literal["stop", "hold"] = "stop"
    """Say "stop" (then the drive goes) or "hold" (stay where it is)."""
    may_home: bool = False
    """Say true to let the first pulse search the home mark by itself: the output then moves with nobody at a button."""


class Supply(Table):
    """Where the power comes from. Left out: an adapter."""

    kind: Literal["adapter", "battery"] = "adapter"
    """Say "adapter" or "battery"."""
    highest_v: Annotated[float, Field(gt=0.0, le=HIGHEST_SUPPLY_V)] | None = None
    """Give the highest voltage that the supply ever has, as while a battery charges. Left out: motor.supply_v."""
    pin_ratio: Annotated[float, Field(ge=1.0, le=100.0)] = 11.0
    """Give how many times less than the supply its analog pin sees: 11 behind 100 kΩ with 10 kΩ to ground."""
    resistance_ohm: Annotated[float, Field(ge=0.0, le=1000.0)] | None = None
    """Give the resistance of supply and wiring up to the bridge: how far the voltage falls for each ampere."""
    capacity_ah: Annotated[float, Field(gt=0.0, le=10_000.0)] | None = None
    """Give the capacity printed on the battery, in Ah."""
    rated_hours: Annotated[float, Field(gt=0.0, le=1000.0)] = 20.0
    """Give the hours of discharge that the capacity is stated for; lead batteries commonly 20."""
    peukert_exponent: Annotated[float, Field(ge=1.0, le=2.0)] = 1.0
    """Give the exponent of capacity loss with current: about 1.2 for lead, 1.05 for lithium, 1 for none."""
    standby_w: Annotated[float, Field(ge=0.0, le=1000.0)] = 0.0
    """Measure what everything draws while nothing moves, in W."""


class Display(Table):
    """A small display on the microcontroller. Left out: none."""

    kind: Literal["none", "ssd1306"] = "none"
    """Say "none" or "ssd1306"."""
    width_px: Annotated[int, Field(ge=32, le=256)] = 128
    """Count the pixels across."""
    height_px: Annotated[int, Field(ge=16, le=128)] = 64
    """Count the pixels down."""
    address: Annotated[int, Field(ge=0x08, le=0x77)] = 0x3C
    """Give the display's address on the I²C bus, 0x08 to 0x77."""


class Pins(Table):
    """GPIO numbers of the microcontroller, not the numbers of its legs. Left out: the defaults are the wiring."""

    disc_a: Pin = 2
    """Give the GPIO of the first disc sensor."""
    disc_b: Pin = 3
    """Give the GPIO of the second disc sensor, the one after disc_a."""
    home: Pin = 4
    """Give the GPIO of the home sensor."""
    pwm_a: Pin = 6
    """Give the GPIO of the bridge's first input: the up direction, or the PWM of "pwm_direction"."""
    pwm_b: Pin = 7
    """Give the GPIO of the bridge's second input: the down direction, or the direction of "pwm_direction"."""
    enable: Pin | None = None
    """Give the GPIO of the bridge's enable input. Left out: the bridge has none."""
    pulse: Pin = 9
    """Give the GPIO of the RC pulse input; used only with [pulse]."""
    sda: Pin = 20
    """Give the GPIO of the display's data line; used only with [display]."""
    scl: Pin = 21
    """Give the GPIO of the display's clock line; used only with [display]."""
    tx: Pin | None = None
    """Give the GPIO of the serial line to the host. Left out: the host is on USB."""
    rx: Pin | None = None
    """Give the GPIO of the serial line from the host. Left out: the host is on USB."""
    supply: Annotated[int, Field(ge=ANALOG_PINS.start, lt=ANALOG_PINS.stop)] | None = None
    """Give the analog GPIO (26 to 29) that reads the supply through a divider. Left out: it is not measured."""
