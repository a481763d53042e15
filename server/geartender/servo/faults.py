"""Why a servo stopped by itself, in plain words with figures, and what to look at before going on."""

from __future__ import annotations

from dataclasses import dataclass

from geartender.link.lines import CAUSES

CONTROLLER_RESET = "controller-reset"
"""The one cause that the service notices, not the firmware: the board started anew."""

ALL_CAUSES = (*CAUSES, CONTROLLER_RESET)


@dataclass(frozen=True, slots=True)
class Evidence:
    """What was known when it happened; None where it was not."""

    angle_deg: float | None
    peak_torque_nm: float | None
    overload_nm: float
    overload_ms: float
    supply_v: float | None
    nominal_v: float
    winding_c: float | None
    following_deg: float
    travel: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class Explanation:
    """What happened and what to do."""

    text: str
    advice: str


def explain(cause: str, seen: Evidence) -> Explanation:
    """The words for a cause. An unknown one is told as it is."""
    text, advice = _WORDS.get(
        cause, (f"The firmware stopped for a cause this service does not know: {cause}.", _INSTALL)
    )
    place = "" if seen.angle_deg is None else f" at {seen.angle_deg:.1f}°"
    travel = "the travel" if seen.travel is None else f"the travel of {seen.travel[0]:g}° to {seen.travel[1]:g}°"
    values = {
        "place": place,
        "peak": "an unknown torque" if seen.peak_torque_nm is None else f"{seen.peak_torque_nm:.2f} N·m",
        "bound": f"{seen.overload_nm:.2f} N·m for {seen.overload_ms:.0f} ms",
        "supply": "an unknown voltage" if seen.supply_v is None else f"{seen.supply_v:.1f} V",
        "nominal": f"{seen.nominal_v:.1f} V",
        "winding": "an unknown temperature" if seen.winding_c is None else f"{seen.winding_c:.0f} °C",
        "behind": f"{seen.following_deg:.1f}°",
        "travel": travel,
    }
    if cause == "overload" and seen.peak_torque_nm is not None and seen.peak_torque_nm < seen.overload_nm:
        text = _SUDDEN
    return Explanation(text.format(**values), advice)


_INSTALL = "Install the firmware that came with this service, then reset."
_HOME_AGAIN = "The position is not certain: home again before moving."

_SUDDEN = (
    "It was stopped suddenly by something{place}. It braked at once, since the motor's own swing would have loaded the gears"
    " above {bound}. Drive was removed."
)
"""An overload that was seen coming: what was felt until then is less than the bound."""

_WORDS: dict[str, tuple[str, str]] = {
    "overload": (
        "The torque at the output was too high{place}: up to {peak}, and {bound} is the bound. Drive was removed.",
        "Look for something in the way, a load that has grown, or gears that bind. Clear it, then reset.",
    ),
    "stalled": (
        "The motor drew current but did not turn{place}, with up to {peak} at the output. Drive was removed.",
        "Look for something in the way, a jammed gear or an end stop. If the motor is free, check the disc and its sensors.",
    ),
    "wrong-direction": (
        "The count ran against the drive{place}. Drive was removed.",
        "Swap the motor's two wires or the disc's two sensors. If it worked before, the load may be pulling the motor round.",
    ),
    "sensor-error": (
        "The disc's sensors gave impossible signals, or the home mark was not where it should be{place}. Drive was removed.",
        "Check the sensors' wires, their distance to the disc and the magnets. " + _HOME_AGAIN,
    ),
    "following-error": (
        "The lever fell behind by more than {behind}{place}. Drive was removed.",
        "The load may be too heavy for this speed, the supply too weak, or the limits set too high.",
    ),
    "travel": (
        "The lever left {travel}{place}. Drive was removed.",
        "See what moved it out. Reset and arm, then bring it back with care, or home again.",
    ),
    "host-silent": (
        "The firmware heard nothing from the service in the middle of a motion{place}; it ramped down and removed drive.",
        "Check the cable, and whether the computer was too busy or restarted.",
    ),
    "supply-low": (
        "The supply fell to {supply}{place}, of {nominal}. It ramped down and removed drive.",
        "Check the adapter or charge the battery, and look for thin or loose wires.",
    ),
    "too-hot": (
        "The motor's winding reached {winding} by the thermal model{place}. It ramped down and removed drive.",
        "Let it cool, then move less often, slower, or with less load.",
    ),
    "overrun": (
        "The board could not keep its control on time{place}. Drive was removed.",
        "Reset it. If it happens again the board is too slow or its program is damaged: install the firmware anew.",
    ),
    "home-not-found": (
        "The home mark was not found within the travel. It ramped down and removed drive.",
        "Check the home sensor, its magnet or flag and its wire, and the direction of seeking in the build sheet.",
    ),
    CONTROLLER_RESET: (
        "The microcontroller started anew, so it no longer knows the position. Drive is off.",
        "Check its supply and the USB cable: motor noise or a dip can reset it. Reset, arm and home.",
    ),
}
