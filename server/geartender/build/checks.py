"""What tables and fields of a build sheet must not say together.

Each check also runs on a sheet with mistakes, so that everything is reported at once: a field whose value is unusable is None
there, and so is a table. A conflict names the fields it rests on, and is dropped where one of them has a mistake of its own.
"""

from collections import defaultdict
from collections.abc import Iterator
from typing import Any, NamedTuple

from geartender.build.motor import CURVE_FIELDS, disagreements, resistance_ohm
from geartender.build.tables import WormMesh
from geartender.build.train import mesh_efficiency

# A BuildSheet, or one of its tables, in which anything may be None: no type says that of a model without repeating it all.
Perhaps = Any


# A display is written in rows of eight pixels, and in slices of a row.
ROW_PX = 8
SLICE_PX = 32


class Conflict(NamedTuple):
    """What contradicts what: where to look, in words what is wrong, and the fields (of any table) that it rests on."""

    place: tuple[str | int, ...]
    text: str
    fields: tuple[str, ...]


def conflicts(sheet: Perhaps) -> Iterator[Conflict]:
    """Everything that contradicts itself in a sheet, table by table."""
    yield from _motor(sheet)
    yield from _input(sheet)
    yield from _mesh(sheet)
    yield from _travel(sheet.travel)
    yield from _across(sheet)
    yield from _pulse(sheet)
    yield from _display(sheet)
    yield from _pins(sheet)


def _motor(sheet: Perhaps) -> Iterator[Conflict]:
    motor = sheet.motor
    if motor is None:
        return
    given = [name for name in CURVE_FIELDS if getattr(motor, name) is not None]
    rests_on = tuple(f"motor.{name}" for name in CURVE_FIELDS)
    known = motor.supply_v is not None and motor.no_load_current_a is not None
    if not given:
        yield Conflict(("motor",), f"lacks a value at stall. Give one of {', '.join(CURVE_FIELDS)}.", rests_on)
    elif known and given[0] != "stall_torque_nm" and motor.supply_v / resistance_ohm(motor) <= motor.no_load_current_a:
        stall = motor.supply_v / resistance_ohm(motor)
        text = (
            f"({motor.no_load_current_a:g}) is not below the stall current ({stall:.4g} A). Check both, and supply_v."
        )
        yield Conflict(("motor", "no_load_current_a"), text, (*rests_on, "motor.supply_v", "motor.no_load_current_a"))
    elif known and motor.no_load_rpm is not None:
        for each in disagreements(motor):
            text = (
                f"({each.given:g}) disagrees with {each.other} ({getattr(motor, each.other):g}): from that, supply_v and the "
                f"no-load values it would be {each.implied:.4g}, and it is {abs(each.share):.0%} "
                f"{'above' if each.share > 0 else 'below'}. Correct the one that is wrong, or remove it."
            )
            rest = ("motor.supply_v", "motor.no_load_rpm", "motor.no_load_current_a")
            yield Conflict(("motor", each.field), text, (*rests_on, *rest))


def _input(sheet: Perhaps) -> Iterator[Conflict]:
    table = sheet.input
    if table is None:
        return
    if table.clamp_v is not None and table.divider_ohm is not None:
        yield Conflict(("input",), "has both clamp_v and divider_ohm. Keep the one that is fitted.", ())
    if table.sensor_high_v is not None and table.sensor_low_v is not None and table.sensor_low_v >= table.sensor_high_v:
        text = f"sensor_low_v ({table.sensor_low_v:g}) is not below sensor_high_v ({table.sensor_high_v:g}). Swap them."
        yield Conflict(("input",), text, ("input.sensor_low_v", "input.sensor_high_v"))


def _mesh(sheet: Perhaps) -> Iterator[Conflict]:
    for index, mesh in enumerate(sheet.mesh or ()):
        if isinstance(mesh, WormMesh) and mesh_efficiency(mesh) <= 0.0:
            text = f"({mesh.lead_angle_deg:g}) lets no power pass at this friction. Check both."
            yield Conflict(("mesh", index, "lead_angle_deg"), text, ())


def _travel(travel: Perhaps) -> Iterator[Conflict]:
    if travel is None:
        return
    low, high, rests_on = travel.min_deg, travel.max_deg, ("travel.min_deg", "travel.max_deg", "travel.endless")
    if travel.endless and (low is not None or high is not None):
        yield Conflict(("travel",), "is endless, so it has no ends. Remove min_deg and max_deg, or endless.", rests_on)
    elif not travel.endless and (low is None or high is None):
        yield Conflict(("travel",), "needs both min_deg and max_deg. Give both, or set endless = true.", rests_on)
    elif low is not None and high is not None and low >= high:
        text = f"min_deg ({low:g}) is not below max_deg ({high:g}). Swap them, or set endless = true."
        yield Conflict(("travel",), text, rests_on)


def _across(sheet: Perhaps) -> Iterator[Conflict]:
    home, limits, overload = sheet.home, sheet.limits, sheet.overload
    if home and limits and home.speed_deg_s and limits.speed_deg_s and home.speed_deg_s > limits.speed_deg_s:
        text = f"({home.speed_deg_s:g}) is above limits.speed_deg_s ({limits.speed_deg_s:g}). Home more slowly."
        yield Conflict(("home", "speed_deg_s"), text, ("home.speed_deg_s", "limits.speed_deg_s"))
    if limits and overload and limits.torque_nm and overload.torque_nm and limits.torque_nm > overload.torque_nm:
        text = f"({limits.torque_nm:g}) is above overload.torque_nm ({overload.torque_nm:g}). Lower it, or raise the other."
        yield Conflict(("limits", "torque_nm"), text, ("limits.torque_nm", "overload.torque_nm"))


def _pulse(sheet: Perhaps) -> Iterator[Conflict]:
    pulse, travel = sheet.pulse, sheet.travel
    if pulse is None:
        return
    widths = (pulse.min_us, pulse.mid_us, pulse.max_us)
    if None not in widths and not widths[0] < widths[1] < widths[2]:
        text = f"min_us, mid_us, max_us ({', '.join(map(str, widths))}) do not rise. Put them in order."
        yield Conflict(("pulse",), text, ("pulse.min_us", "pulse.mid_us", "pulse.max_us"))
    ends = ("pulse.min_deg", "pulse.max_deg")
    if pulse.min_deg is not None and pulse.min_deg == pulse.max_deg:
        yield Conflict(("pulse",), f"min_deg and max_deg are both {pulse.min_deg:g}. Give two different angles.", ends)
    if travel and travel.endless and (pulse.min_deg is None or pulse.max_deg is None):
        yield Conflict(("pulse",), "has no angles, and an endless travel has no ends. Give min_deg and max_deg.", ends)
    if travel and travel.min_deg is not None and travel.max_deg is not None and travel.min_deg < travel.max_deg:
        for name, angle in (("min_deg", pulse.min_deg), ("max_deg", pulse.max_deg)):
            if angle is not None and not travel.min_deg <= angle <= travel.max_deg:
                text = f"({angle:g}) is outside the travel, {travel.min_deg:g} to {travel.max_deg:g}. Bring it inside."
                yield Conflict(("pulse", name), text, (f"pulse.{name}", "travel.min_deg", "travel.max_deg"))


def _display(sheet: Perhaps) -> Iterator[Conflict]:
    display, pins = sheet.display, sheet.pins
    if display is None or display.kind in {None, "none"}:
        return
    for name, whole in (("width_px", SLICE_PX), ("height_px", ROW_PX)):
        size = getattr(display, name)
        if size is not None and size % whole:
            text = f"({size}) is no whole number of {whole}. Give the display's own size, such as 128 by 64."
            yield Conflict(("display", name), text, (f"display.{name}",))
    if pins and pins.sda is not None and pins.scl is not None and not _one_bus(pins.sda, pins.scl):
        text = f"sda ({pins.sda}) and scl ({pins.scl}) are not of one bus. Use an even GPIO for sda, and the one after it for scl."
        yield Conflict(("pins",), text, ("pins.sda", "pins.scl"))


def _one_bus(sda: int, scl: int) -> bool:
    """Whether two pins can be data and clock of one of the chip's two-wire buses (RP2040 datasheet, section 2.19.2)."""
    return sda % 2 == 0 and scl % 2 == 1 and sda // 2 % 2 == scl // 2 % 2


def _pins(sheet: Perhaps) -> Iterator[Conflict]:
    pins = sheet.pins
    if pins is None:
        return
    if pins.disc_a is not None and pins.disc_b is not None and pins.disc_b != pins.disc_a + 1:
        after = pins.disc_a + 1
        text = f"({pins.disc_b}) is not the one after disc_a ({pins.disc_a}). The counter reads two neighbours: use {after}."
        yield Conflict(("pins", "disc_b"), text, ("pins.disc_a", "pins.disc_b"))
    if (pins.tx is None) != (pins.rx is None):
        yield Conflict(("pins",), "has only one of tx and rx. Give both, or neither for USB.", ("pins.tx", "pins.rx"))
    users = defaultdict(list)
    for name in _pins_in_use(sheet):
        users[getattr(pins, name)].append(name)
    for pin, names in users.items():
        if pin is not None and len(names) > 1:
            text = f"{' and '.join(names)} share GPIO {pin}. Give each its own."
            yield Conflict(("pins",), text, tuple(f"pins.{name}" for name in names))


def _pins_in_use(sheet: Perhaps) -> list[str]:
    names = ["disc_a", "disc_b", "home", "pwm_a", "pwm_b", "enable", "tx", "rx", "supply"]
    if sheet.pulse and sheet.pulse.enabled:
        names.append("pulse")
    if sheet.display and sheet.display.kind != "none":
        names += ["sda", "scl"]
    return names
