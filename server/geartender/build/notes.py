"""What to say about a build in plain words: first what is wrong with it, then what was assumed and what to beware of."""

from collections.abc import Iterator

from geartender.build.disc import COUNTER_HZ
from geartender.build.figure_models import Figures, InputFigures, MeshFigures
from geartender.build.pin import least_series_ohm, series_for_current_ohm
from geartender.build.sheet import BuildSheet
from geartender.build.tables import Input, SpurMesh, WormMesh
from geartender.build.train import ASSUMED_SPUR_EFFICIENCY, ASSUMED_WORM_FRICTION

# Above this share of the no-load speed too little voltage is left to keep a position loop stiff.
USABLE_SPEED_SHARE = 0.8
# Fewer pairs of teeth in contact than this run roughly. Common practice, no source.
LEAST_CONTACT_RATIO = 1.2
# Zener diodes below this voltage have a soft knee: they leak before it, and clamp lower at less than their test current.
SOFT_ZENER_V, ZENER_TEST_MA = 5.1, 5.0
# Current that a sensor, a small resistor and a Zener diode all bear without warming, in A. Common practice, no source.
GENTLE_CLAMP_A = 1e-3
# What a small Zener diode stands, in W: the smaller of the common sizes. Common practice, no source.
SMALL_ZENER_W = 0.25
# A worm that locks by less than this margin lets go when it is shaken. Common practice, no source.
SAFE_LOCKING_MARGIN = 1.5


def warnings(sheet: BuildSheet, found: Figures) -> Iterator[str]:
    """What will not work, or break, as it is; what breaks first."""
    yield from _counting(found)
    yield from _teeth(sheet, found)
    if sheet.input and found.input:
        yield from _pin(sheet.input, found.input)
    yield from _moving(sheet, found)
    yield from _warmth(found)
    if not found.working_point.reachable and sheet.limits:
        yield (
            f"limits.speed_deg_s ({sheet.limits.speed_deg_s:g}) against this load takes {found.working_point.duty:.0%} of the "
            f"supply and {found.working_point.current_a:.3g} A, more than the bridge gives."
        )


def _counting(found: Figures) -> Iterator[str]:
    if found.highest_count_rate_hz > COUNTER_HZ:
        yield (
            f"The disc makes up to {found.highest_count_rate_hz:.0f} counts a second, more than is followed ({COUNTER_HZ:.0f}): "
            "counts would be lost. Use fewer marks or a slower motor."
        )


def _teeth(sheet: BuildSheet, found: Figures) -> Iterator[str]:
    if found.weakest_mesh is None:
        return
    name, bears = f"mesh[{found.weakest_mesh}]", found.meshes[found.weakest_mesh].limit_torque_nm or 0.0
    overload = sheet.overload.torque_nm
    if overload is not None and overload > bears:
        yield (
            f"The overload torque ({overload:.3g} N·m) is above what the teeth of {name} bear ({bears:.3g} N·m): they break before "
            f"it stops. Set it to {found.suggested_overload_nm:.3g} N·m or less."
        )
    if found.output_stall_torque_nm > bears:
        yield (
            f"At a stall the motor makes {found.output_stall_torque_nm:.3g} N·m at the output, and the teeth of {name} bear "
            f"{bears:.3g} N·m: only the overload guard keeps them whole."
        )
    stop, at = found.sudden_stop_torque_nm, found.sudden_stop_at_deg_s
    if stop is not None and at is not None and stop > bears:
        yield (
            f"Stopped dead at {at:.3g} °/s, the rotor alone makes {stop:.3g} N·m, and the teeth of {name} bear {bears:.3g} N·m, "
            f"whatever any guard does. Up to {found.sudden_stop_speed_deg_s:.3g} °/s they bear it."
        )


def _pin(circuit: Input, found: InputFigures) -> Iterator[str]:
    if found.high_v is None:
        resistor = series_for_current_ohm(circuit.sensor_high_v, circuit.clamp_v or 0.0, GENTLE_CLAMP_A)
        yield (
            f"The clamp of the sensor inputs has no resistor before it: sensor or diode burn. Fit one, {resistor:.0f} Ω for "
            f"{1e3 * GENTLE_CLAMP_A:g} mA."
        )
        return
    if found.high_v > circuit.logic_v:
        yield (
            f"The pins of the sensors would see {found.high_v:.3g} V, above their supply ({circuit.logic_v:g} V): they may not "
            "survive. Use a divider, or a resistor and a clamp."
        )
    elif not found.high_ok:
        yield f"The sensors' high level at the pin ({found.high_v:.3g} V) is too low to read high for certain."
    if not found.low_ok:
        yield f"The sensors' low level at the pin ({found.low_v:.3g} V) is too high to read low for certain."
    if circuit.clamp_v is not None and found.clamp_mw is not None and found.clamp_mw > 1e3 * SMALL_ZENER_W:
        least = least_series_ohm(circuit.sensor_high_v, circuit.clamp_v, SMALL_ZENER_W)
        yield (
            f"The Zener diode at a sensor pin takes {found.clamp_mw:.0f} mW, and small ones stand {1e3 * SMALL_ZENER_W:g}: "
            f"use {least:.0f} Ω or more before it."
        )
    if found.edges_ok is False:
        yield from _slow_edges(found)


def _slow_edges(found: InputFigures) -> Iterator[str]:
    if found.rise_s is None or found.fall_s is None:
        level = "high" if found.rise_s is None else "low"
        yield f"Through its capacitor the sensors' signal never quite gets to where the pin reads {level} for certain."
        return
    yield (
        "The capacitor at the sensor pins delays the edges longer than a count lasts at full speed: counts would be lost. "
        "Use a smaller one, or a smaller resistor."
    )


def _moving(sheet: BuildSheet, found: Figures) -> Iterator[str]:
    overload = sheet.overload.torque_nm or found.suggested_overload_nm
    static = found.working_point.torque_nm
    if static >= overload:
        yield f"The load alone ({static:.3g} N·m) reaches the overload torque ({overload:.3g} N·m): it will not move."
    if overload > found.output_stall_torque_nm:
        yield f"The overload torque ({overload:.3g} N·m) is above the stall torque: only a standstill will be noticed."
    usable = USABLE_SPEED_SHARE * sheet.bridge.max_duty * found.no_load_output_deg_s
    if sheet.limits and sheet.limits.speed_deg_s > usable:
        yield f"limits.speed_deg_s ({sheet.limits.speed_deg_s:g}) is more than the motor can keep up with a margin ({usable:.3g})."


def _warmth(found: Figures) -> Iterator[str]:
    stands, load = found.continuous_torque_nm, found.working_point.torque_nm
    if stands is not None and load > stands:
        yield f"The winding stands {stands:.3g} N·m for ever, and the load takes {load:.3g} N·m: without pauses it overheats."


def notes(sheet: BuildSheet, found: Figures) -> Iterator[str]:
    """What was assumed, and what to beware of."""
    yield from _assumptions(sheet)
    yield from _cautions(sheet, found)
    if sheet.input:
        yield from _zener(sheet.input, found.input)
    yield from _battery(sheet, found)
    if sheet.missing_to_move:
        yield f"To move it also needs {', '.join(f'[{name}]' for name in sheet.missing_to_move)}."


def _assumptions(sheet: BuildSheet) -> Iterator[str]:
    yield "Motor figures are those of a cold winding; warm, stall torque and current are lower."
    if any(isinstance(mesh, SpurMesh) and mesh.efficiency is None for mesh in sheet.mesh):
        yield f"Spur meshes without an efficiency are taken to pass {ASSUMED_SPUR_EFFICIENCY:.0%} of the power."
    if any(isinstance(mesh, WormMesh) and mesh.friction is None for mesh in sheet.mesh):
        yield f"Worms without a friction are taken to have {ASSUMED_WORM_FRICTION:g}."
    if sheet.motor.rotor_inertia_kg_m2 is None:
        yield "Without rotor_inertia_kg_m2 the suggested acceleration ignores the rotor, most of the inertia in a geared drive."
    if "load" not in sheet.model_fields_set:
        yield "Without [load] the suggested limits take the output as free."
    if any(mesh.allowable_mpa for mesh in sheet.mesh):
        yield (
            "allowable_mpa is your own number, an assumption: no allowable stress is published for teeth printed at home. They "
            "weaken with heat (some plastics from about 60 °C), creep under a standing load, and part along the layers: print "
            "them flat."
        )


def _cautions(sheet: BuildSheet, found: Figures) -> Iterator[str]:
    for i, mesh in enumerate(found.meshes):
        if mesh.no_strength:
            yield f"No strength is claimed for mesh[{i}]: {mesh.no_strength}."
        yield from _mesh(i, mesh)
    undercut = [f"mesh[{i}]" for i, mesh in enumerate(found.meshes) if mesh.undercut]
    if undercut:
        yield f"As a rack cuts them, the feet of the small gears' teeth are thinned in {', '.join(undercut)}: below 18 teeth."
    if found.weakest_mesh is None:
        yield "The suggested overload follows from the motor alone. Go lower where the teeth or what they move are weaker."
    if found.self_locking:
        yield "A worm that locks itself is no brake: shaken or greased anew it may let go."
    if sheet.supply.highest_v is not None and sheet.supply.highest_v < sheet.motor.supply_v:
        yield "supply.highest_v is below motor.supply_v, at which the motor's values hold: with it everything is slower and weaker."


def _mesh(i: int, mesh: MeshFigures) -> Iterator[str]:
    if mesh.contact_ratio is not None and mesh.contact_ratio < LEAST_CONTACT_RATIO:
        yield f"mesh[{i}] has only {mesh.contact_ratio:.3g} pairs of teeth in contact and will run roughly."
    if mesh.self_locking and mesh.self_locking_margin is not None and mesh.self_locking_margin < SAFE_LOCKING_MARGIN:
        yield f"mesh[{i}] locks itself by a margin of only {mesh.self_locking_margin:.3g}."


def _zener(circuit: Input, found: InputFigures | None) -> Iterator[str]:
    if circuit.clamp_v is None or found is None:
        return
    if circuit.clamp_v <= SOFT_ZENER_V:
        yield (
            f"Zener diodes of {circuit.clamp_v:g} V have a soft knee: they leak below it, so that a high resistor may pull the "
            f"high level under what the pin reads, and below their test current (commonly {ZENER_TEST_MA:g} mA) they clamp lower. "
            "They differ by 5 % besides."
        )


def _battery(sheet: BuildSheet, found: Figures) -> Iterator[str]:
    supply, rated = found.supply, found.supply.rated_current_a
    if sheet.supply.kind != "battery":
        return
    if rated is None:
        yield "Without capacity_ah no hours are given for the battery."
        return
    if sheet.supply.peukert_exponent > 1.0:
        yield (
            f"Peukert's law is used from {rated:.3g} A on, the current that the capacity is stated at; below it the printed "
            "capacity is taken, since the law would promise more. It is for a steady current and a new battery at room "
            "temperature: not for pulses, cold or age."
        )
    if supply.working_hours is not None and supply.working_hours < 1.0:
        yield f"At the working point without a pause the battery lasts {60 * supply.working_hours:.0f} minutes."
