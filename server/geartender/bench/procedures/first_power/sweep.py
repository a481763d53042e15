"""The home mark over the whole way, and what that says of its sensor."""

from __future__ import annotations

import numpy as np

from geartender.bench.procedures.first_power.gentle import Gentle
from geartender.bench.procedures.places import beyond, room
from geartender.bench.procedures.work import Work
from geartender.bench.session import FoundWrong


async def sweep(work: Work, gentle: Gentle) -> np.ndarray:
    """The mark over the whole way, from where the lever is to both ends: an end is the stop, or the travel's length."""
    hands = work.hands
    marks: list[bool] = []
    far = room(work) + 10
    await hands.trial({**hands.easy(gentle.push_nm), **beyond(work, far + 400)})
    for way in (-1, 1):
        await hands.arm()
        async with hands.recorded(5) as recording:
            await hands.speed(way * gentle.speed_deg_s, far / gentle.speed_deg_s, hands.stuck())
        record = work.keep(f"sweep-{'up' if way > 0 else 'down'}", recording)
        moving = np.flatnonzero(np.diff(record.count) != 0)
        marks += record.mark[moving].tolist()
    return np.asarray(marks, bool)


def wrong_mark(work: Work, marks: np.ndarray) -> FoundWrong | None:
    """What is wrong with a home sensor that saw its mark so over the whole way; None where it changes as it should."""
    share = float(np.mean(marks)) if len(marks) else 0.0
    changes = int(np.count_nonzero(np.diff(marks.astype(int))))
    sheet = work.session.servo.sheet
    pin, level = sheet.pins.home, sheet.home.mark_is if sheet.home else "low"
    if changes == 0 and share > 0.5:
        return FoundWrong(
            "home-always",
            f"The home sensor says “at the mark” over the whole way: its pin (GPIO {pin}) always reads {level}.",
            "Look whether the sensor's wire is shorted or its supply missing, and whether something sits in front of it.",
        )
    if changes == 0:
        return FoundWrong(
            "home-never",
            f"The home mark was not seen over the whole way: GPIO {pin} never reads {level}.",
            "Look at the sensor's wire and supply, and whether the mark passes in front of it at all.",
        )
    if share > 0.5:
        other = "high" if level == "low" else "low"
        return FoundWrong(
            "home-inverted",
            f"The home sensor says “at the mark” nearly everywhere, and leaves it for {1 - share:.0%} of the way: it is"
            " the wrong way round.",
            f'Set home.mark_is = "{other}" in the sheet.',
        )
    return None
