"""Ends of motions read off telemetry alone, whatever of it was lost."""

from datetime import UTC, datetime
from itertools import pairwise

import pytest

from geartender.errors import Unknown
from geartender.link.lines import Telemetry
from geartender.servo.ledger import APPEARS_S, REMEMBERED, TRACED, Ledger
from geartender.servo.live import Live
from geartender.servo.models import MotionKind
from geartender.servo.motions import TRACE_ROWS_MAX, Motion
from geartender.servo.units import Scale
from tests.servo.rig import ANNA, vent

SCALE = Scale.of(vent())
WALL = datetime(2031, 1, 1, tzinfo=UTC)


class Book:
    """A ledger with motions under way and a telemetry of our own making."""

    def __init__(self, motions: int = 1) -> None:
        self.ended: list[Motion] = []
        self.ledger = Ledger("vent", 100, self.ended.append)
        self.motions = [self.ledger.new(MotionKind.MOVE, ANNA, WALL, 10.0) for _ in range(motions)]
        for motion in self.motions:
            self.ledger.start(motion, 1.0)

    def hear(
        self, at: float, motion: int = 0, ended: int = 0, how: str = "none", state: str = "ready", fault: str = "none"
    ) -> None:
        row = Telemetry(
            0, state, 1, 343, 0, 0, 0, 0, 0, 12000, 250, motion, ended, how, fault, 0, 80, 0, 0, 0, "host", 0, 0
        )
        self.ledger.follow(Live(row, SCALE, at), lambda: "the gears bind")


@pytest.mark.parametrize(
    ("how", "state", "reason"),
    [
        ("done", "done", None),
        ("stopped", "stopped", "stopped"),
        ("faulted", "faulted", "the gears bind"),
        ("replaced", "replaced", "another motion took its place"),
    ],
)
def test_the_firmwares_word_becomes_the_motions_end(how: str, state: str, reason: str | None) -> None:
    book = Book()
    book.hear(1.1, motion=101, state="moving")
    book.hear(3.0, ended=101, how=how)
    (motion,) = book.ended
    assert (motion.state, motion.reason, motion.actual_s) == (state, reason, 2.0)
    assert motion.end_deg == pytest.approx(9.99, abs=0.01)
    assert motion.error_deg == pytest.approx(motion.end_deg - 10.0, abs=1e-3)
    assert motion.peak_torque_nm == pytest.approx(SCALE.torque_nm(80), abs=1e-3)
    assert book.ledger.running is None


def test_a_stopped_motion_ends_when_the_lever_rests() -> None:
    book = Book()
    book.hear(2.0, ended=101, how="stopped", state="stopping")
    assert not book.ended
    book.hear(2.4, ended=101, how="stopped", state="ready")
    assert book.motions[0].actual_s == pytest.approx(1.4)


def test_a_motion_whose_end_was_not_heard_was_replaced_by_the_next() -> None:
    book = Book(3)
    book.hear(2.0, motion=103, state="moving")
    assert [motion.state for motion in book.motions] == ["replaced", "replaced", "running"]


def test_a_motion_that_never_shows_is_lost() -> None:
    book = Book()
    book.hear(1.0 + APPEARS_S, ended=7, how="done")
    assert not book.ended
    book.hear(1.1 + APPEARS_S, ended=7, how="done")
    assert book.motions[0].state == "lost"


@pytest.mark.parametrize(
    ("state", "fault", "end"), [("disarmed", "none", "stopped"), ("faulted", "stalled", "faulted")]
)
def test_without_drive_nothing_is_under_way_any_more(state: str, fault: str, end: str) -> None:
    book = Book(2)
    book.motions[1].held = True
    book.hear(1.1, ended=101, how="stopped" if fault == "none" else "faulted", state=state, fault=fault)
    assert [motion.state for motion in book.motions] == [end, end]


def test_a_motion_that_a_stop_met_before_it_began_is_stopped_not_lost() -> None:
    book = Book()
    book.motions[0].reason = "stopped by Bert"
    book.hear(1.1 + APPEARS_S, ended=7, how="stopped")
    assert (book.motions[0].state, book.motions[0].reason) == ("stopped", "stopped by Bert")


def test_a_held_motion_is_not_done_when_the_lever_rests_but_a_fault_ends_it() -> None:
    book = Book()
    book.motions[0].held = True
    book.hear(9.0, ended=101, how="done")
    assert not book.ended
    book.hear(9.1, ended=101, how="faulted", state="faulted")
    assert book.motions[0].state == "faulted"


def test_a_released_jog_is_done_not_stopped() -> None:
    book = Book()
    book.motions[0].released = True
    book.hear(2.0, ended=101, how="stopped")
    assert book.motions[0].state == "done"


def test_only_so_many_are_remembered_and_fewer_with_their_traces() -> None:
    book = Book()
    book.hear(1.1, motion=101, state="moving")
    first = book.motions[0]
    book.hear(2.0, ended=101, how="done")
    assert first.trace_rows()
    for _ in range(TRACED):
        book.ledger.new(MotionKind.MOVE, ANNA, WALL)
    assert not first.trace_rows()
    for _ in range(REMEMBERED):
        book.ledger.new(MotionKind.MOVE, ANNA, WALL)
    with pytest.raises(Unknown):
        book.ledger.get(first.id)
    assert book.ledger.newest_first()[0].number > first.number


def test_a_long_motion_keeps_an_even_trace_of_bounded_size() -> None:
    book = Book()
    for step in range(5 * TRACE_ROWS_MAX):
        book.hear(1.0 + step * 0.03, motion=101, state="moving")
    rows = book.motions[0].trace_rows()
    assert TRACE_ROWS_MAX / 2 <= len(rows) <= TRACE_ROWS_MAX
    assert rows[0].t_s == 0
    gaps = {round(two.t_s - one.t_s, 2) for one, two in pairwise(rows)}
    assert len(gaps) <= 4
