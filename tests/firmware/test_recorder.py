"""The record of every tick, and the look at the pins."""

import itertools

import pytest

from geartender.firmware import recorder, tick
from geartender.simulator.plant import Plant
from tests.firmware.kit import VENT, Bench, plant_with


def taken(bench, first=0):
    """All samples from a number on, as (duty, mark, count modulo 2048), and the number of the first."""
    begins, words = bench.ask("samples", first)[1:]
    values = [int(words[at : at + 7], 16) for at in range(0, len(words), 7)]
    return int(begins), [((one & 0x7FFF) - 16384, one >> 15 & 1, one >> 16) for one in values]


def test_the_slots_that_the_record_names_anew_are_the_ticks():
    assert (recorder.COUNT, recorder.HOME, recorder.DUTY, recorder.BRIDGE_OUT) == (
        tick.COUNT,
        tick.HOME,
        tick.DUTY,
        tick.BRIDGE_OUT,
    )
    assert recorder.LOG_WORDS == recorder.RING_AT + recorder.RING


def test_a_record_has_what_every_tick_did():
    bench = Bench()
    bench.arm()
    assert bench.ask("record", 1)[0] == "ok"
    seen = []
    bench.ask("turn", 2, bench.after(0.2), 40 << 16, 400_000)
    _, samples = taken(bench)
    while len(seen) < 100:
        begins, samples = taken(bench, len(seen))
        assert begins == len(seen)
        seen += samples
    counts = [count for _, _, count in seen]
    assert counts[-1] != counts[0]
    assert max(duty for duty, _, _ in seen) > 100
    assert all((after - before) % 2048 in (0, 1, 2047) for before, after in itertools.pairwise(counts))


def test_a_host_that_is_late_is_told_which_samples_are_still_there():
    bench = Bench()
    bench.ask("record", 1)
    bench.run(3.0)
    begins, samples = taken(bench)
    assert begins > 900
    assert len(samples) == 20
    bench.ask("record", 0)
    _, before = taken(bench, begins + 100)
    bench.run(1.0)
    assert taken(bench, begins + 100)[1] == before, "a record that has ended stays as it is"


@pytest.mark.parametrize("request_line", [("record", 101), ("record", -1), ("samples", -1)])
def test_what_makes_no_sense_is_refused(request_line):
    assert Bench().ask(*request_line)[:2] == ["no", "range"]


def test_the_pins_are_shown_as_they_are_and_a_dead_sensor_never_changes():
    for wiring, alive in (({}, (2, 2)), ({"disc_a": "high"}, (1, 2)), ({"disc_b": "low"}, (2, 1))):
        bench = Bench(plant=Plant.model_validate({**plant_with(VENT).model_dump(), "wiring": wiring}))
        bench.sim.command("hand 2")
        seen = set()
        for _ in range(100):
            seen.add(tuple(bench.ask("sense")[2:]))
            bench.run(0.02)
        assert (len({a for a, _, _ in seen}), len({b for _, b, _ in seen})) == alive
        assert {home for _, _, home in seen} == {"1"}, "the pin is high away from the mark"
