"""The home mark, both ways: how wide it is, and the play that its near edge shows."""

from __future__ import annotations

from geartender.bench.estimators import mark
from geartender.bench.models import Announcement
from geartender.bench.procedures.over_the_mark import FAR_DEG, over_the_mark, reach_deg, seek_way, tell_width
from geartender.bench.procedures.places import PASS_DEG_S, inward, to
from geartender.bench.procedures.work import Work

TITLE = "The home mark, both ways"

PASSES = 3


async def the_mark(work: Work) -> None:
    """Pass the mark's near edge several times, and once all of it, slowly both ways."""
    session, hands = work.session, work.hands
    session.step("mark", TITLE)
    reach = reach_deg(work)
    async with hands.within(
        Announcement(
            text=f"The output passes the edge of the home mark {PASSES} times, up to {reach:.1f}° beyond it, and then the"
            f" whole mark, at most {FAR_DEG:.0f}° beyond that edge; it may touch the end stop there, gently.",
            moves_deg=2 * reach + FAR_DEG + 15,
            speed_deg_s=PASS_DEG_S * 1.5,
            torque_nm=0.6 * hands.overload_nm,
            time_s=PASSES * (4 * reach / PASS_DEG_S + 4) + 2 * (reach + FAR_DEG) / PASS_DEG_S + 10,
        )
    ):
        await hands.ready()
        await to(work, inward(work, reach))
        found = mark.passages(await over_the_mark(work, 0.6 * hands.overload_nm, PASS_DEG_S, PASSES))
    tell_width(work, found)
    seen = mark.play(found, seek_way(work))
    if seen is None:
        session.say("The near edge of the mark was not passed both ways, so it says nothing of the play.")
        return
    per = work.scale.deg_per_count
    work.edge_play = seen
    session.say(f"Passed one way and the other, the edge lies {seen.value:.1f} counts apart ({seen.value * per:.2f}°).")
