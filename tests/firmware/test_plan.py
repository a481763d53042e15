"""Any queue that the planner makes: the tick's reference is the sent cubic at every tick, and ends where it ends."""

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from geartender.firmware import tick
from geartender.firmware.core import Core
from geartender.firmware.plan import PIECE_US_MAX, Piece, Plan, wrapped
from geartender.motion import Limits, State, plan
from tests.firmware.kit import FINE

DENOMINATOR = 6 * 10**18
"""Of a cubic in µs whose coefficients are per s, s²/2 and s³/6."""


def exact(piece: Piece, us: int) -> int:
    """Where a piece is, in 1/65536 count times DENOMINATOR: no rounding at all."""
    cubic = piece.jerk * us**3 + 3 * 10**6 * piece.acceleration * us**2 + 6 * 10**12 * piece.speed * us
    return DENOMINATOR * piece.position + cubic


def off(core: Core, piece: Piece, us: int) -> float:
    """How far the reference is from the cubic, in counts."""
    s = core.state
    fine = ((s[tick.R_INT] << 24) + s[tick.R_FRAC]) * DENOMINATOR
    turn = DENOMINATOR << 54
    away = (fine - (exact(piece, us) << 8) + turn // 2) % turn - turn // 2
    return abs(away) / (DENOMINATOR << 24)


def follow(sent: Plan, now: int):
    """Let the tick follow a queue; gives (reference's distance from the cubic in counts, index of the piece) at every tick."""
    core = Core("planned", "0")
    s = core.state
    s[tick.MODE] = tick.REST
    s[tick.S_SETTLE_MS] = 10_000
    s[tick.NOW] = now & tick.MASK
    time, row, end = sent.write(core.queue, 1, now)
    s[tick.PENDING_T], s[tick.PENDING_ROW], s[tick.PENDING_END] = time, row, end
    s[tick.PENDING] = s[tick.PENDING_MOTION] = 1
    length = sent.pieces[-1].start + sent.pieces[-1].duration
    rest = Piece(length, 1 << 60, sent.end(), 0, 0, 0)
    pieces = iter([*enumerate(sent.pieces), (len(sent.pieces), rest)])
    index, piece = next(pieces)
    while (us := now - sent.start) < length + 10_000:
        tick._refer(s, core.queue)
        while us >= piece.start + piece.duration:
            index, piece = next(pieces)
        if us >= 0:
            yield off(core, piece, us - piece.start), index
        now += tick.TICK_US
        s[tick.NOW] = now & tick.MASK
    assert s[tick.R_INT] == (sent.end() >> 16) & tick.MASK, "the end, to the count"
    assert s[tick.R_FRAC] == (sent.end() & 0xFFFF) << 8, "and to the last digit of what was sent"


def sent_as_by_the_service(path, origin: int, start: int) -> Plan:
    """The path's pieces as they go over the line."""
    sent = Plan(1, start, len(path.pieces))
    for piece in path.pieces:
        state = piece.start
        numbers = [round(number * FINE) for number in (state.position, state.velocity, state.acceleration, piece.jerk)]
        assert sent.add(max(1, round(piece.duration * 1e6)), origin + numbers[0], *numbers[1:]) is None
    return sent


@settings(max_examples=25)
@given(
    speed=st.floats(20.0, 20_000.0),
    seconds_to_speed=st.floats(0.05, 1.0),
    seconds_to_accel=st.floats(0.01, 0.5),
    seconds_at_speed=st.floats(-2.0, 2.0),
    share=st.floats(-0.9, 0.9),
    origin=st.integers(-(1 << 47), 1 << 47),
    start=st.integers(4000, 1 << 31),
    phase=st.integers(4000, 5999),
)
def test_any_path_is_followed_to_a_thousandth_of_a_count_at_every_tick(
    speed, seconds_to_speed, seconds_to_accel, seconds_at_speed, share, origin, start, phase
):
    limits = Limits(speed, speed / seconds_to_speed, speed / seconds_to_speed / seconds_to_accel)
    path = plan(State(0.0, share * speed), seconds_at_speed * speed, limits)
    assume(path.pieces)
    worst = [distance for distance, _ in follow(sent_as_by_the_service(path, origin, start), start - phase)]
    assert max(worst) < 1 / 1000
    assert len(worst) >= path.duration / 0.002 - 1


@pytest.mark.parametrize(
    ("speed", "acceleration", "jerk"),
    [
        (60 * FINE, -FINE, 0),
        (-1_000_003, 70_001, -3_333),
        (25_000 * FINE, 12_345_677, -1_234_567),
        (1, 1, 1),
        (7, -7, 13),
    ],
)
def test_the_rows_of_a_piece_of_a_minute_keep_a_hundredth_of_a_count(speed, acceleration, jerk):
    sent = Plan(1, 4000, 1)
    assert sent.add(PIECE_US_MAX, 123_456_789, speed, acceleration, jerk) is None
    distances = [distance for distance, _ in follow(sent, 777)]
    assert len(distances) >= 30_000
    assert 0 < max(distances[:30_000]) < 1 / 100


def test_a_queue_may_begin_and_change_its_pieces_across_the_wrap_of_the_clock():
    start = (1 << 30) - 1_000_777
    sent = Plan(1, start, 2)
    assert sent.add(1_000_000, 0, 65_536, 0, 0) is None
    assert sent.add(1_000_000, 65_536, 65_536, -65_536, 0) is None
    seen = list(follow(sent, start - 4001))
    assert max(distance for distance, _ in seen) < 1 / 1000
    assert [sum(index == wanted for _, index in seen) for wanted in (0, 1)] == [500, 500]
    assert wrapped(sent.start + 2_000_000) > 0
