"""Slowly over the home mark and back."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from geartender.bench.estimators import mark
from geartender.bench.estimators.record import Record
from geartender.bench.procedures.places import beyond
from geartender.bench.procedures.work import Work, curve
from geartender.servo.settings import backlash_deg
from geartender.servo.trials import Recording

FAR_DEG = 8.0
"""deg from the mark's near edge within which its far one is looked for."""


def seek_way(work: Work) -> int:
    """The way in which the mark is looked for."""
    home = work.session.servo.sheet.home
    assert home is not None  # noqa: S101 - a servo without cannot be claimed
    return -1 if home.seek == "down" else 1


def reach_deg(work: Work) -> float:
    """deg to each side of the near edge that are enough for a passage, the play included."""
    return backlash_deg(work.session.servo.built) + 1.2


async def over_the_mark(work: Work, torque_nm: float, speed_deg_s: float, passes: int) -> Record:
    """Over the near edge and back so many times, then over the whole mark and back, as far as there is room behind it.

    The servo must be homed and stand `reach_deg` inward of the edge; where a stop is met, the drive presses it no harder than
    with `torque_nm`.
    """
    hands, seek, reach = work.hands, seek_way(work), reach_deg(work)
    await hands.trial({**hands.easy(torque_nm), **beyond(work, FAR_DEG + reach + 4)})
    await hands.arm()
    async with hands.recorded() as recording:
        for _ in range(passes):
            await hands.speed(seek * speed_deg_s, 2 * reach / speed_deg_s, hands.stuck())
            await hands.speed(-seek * speed_deg_s, 2 * reach / speed_deg_s, hands.stuck())
        began = hands.count
        await hands.speed(seek * speed_deg_s, (reach + FAR_DEG) / speed_deg_s, _left(recording, hands.stuck()))
        back_deg = abs(hands.count - began) * work.scale.deg_per_count
        await hands.speed(-seek * speed_deg_s, back_deg / speed_deg_s, hands.stuck())
    record = work.keep("mark", recording)
    work.plot("Over the home mark", "s", "counts", {"count": curve(record), "mark": curve(record, record.mark * 10.0)})
    return record


def _left(recording: Recording, stuck: Callable[[], bool]) -> Callable[[], bool]:
    """Tells when the mark was entered and left again, or nothing moves any more."""
    looked, entered = len(recording.words), False

    def look() -> bool:
        nonlocal looked, entered
        for word in recording.words[looked:]:
            on = bool(word >> 15 & 1)
            if entered and not on:
                return True
            entered = entered or on
        looked = len(recording.words)
        return stuck()

    return look


def tell_width(work: Work, found: Sequence[mark.Passage]) -> None:
    """Keep the mark's width, where both of its edges were passed."""
    wide = mark.width(found)
    if wide is None:
        work.session.say(
            f"The mark's far edge was not passed: it lies behind the end stop, or farther than {FAR_DEG:.0f}° away."
        )
        return
    width = wide.scaled(work.scale.deg_per_count)
    work.found("home_width_deg", width)
    work.session.say(f"The mark is {width.value:.2f}° wide (± {width.uncertainty:.2f}°).")
