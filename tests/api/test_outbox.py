from typing import Any

import pytest

from geartender.api.outbox import EVENTS_MAX, Outbox, TooSlow


def telemetry(value: float, servo: str = "vent") -> dict[str, Any]:
    return {"type": "telemetry", "servo": servo, "angle_deg": value}


def test_only_the_newest_telemetry_and_snapshot_wait() -> None:
    box = Outbox()
    box.pace("vent", 10)
    for number in range(5):
        box.put(telemetry(number))
        box.put({"type": "snapshot", "servo": "vent", "number": number})
    first, second = box.take(0.0), box.take(0.0)
    assert first is not None
    assert second is not None
    assert (first["number"], second["angle_deg"]) == (4, 4)
    assert box.take(0.0) is None


def test_telemetry_keeps_its_rate_and_events_do_not_wait_for_it() -> None:
    box = Outbox()
    box.pace("vent", 4)
    sent = []
    for step in range(100):
        now = step * 0.05
        box.put(telemetry(step))
        if step == 50:
            box.put({"type": "event", "event": "fault"})
        while (message := box.take(now)) is not None:
            sent.append(message["type"])
            if step == 50:
                assert sent[-1] == "event" or sent[-2] == "event"
    assert sent.count("telemetry") == 20
    assert box.due() == pytest.approx(5.0)


def test_servos_have_paces_of_their_own() -> None:
    box = Outbox()
    box.pace("vent", 1)
    box.pace("door", 50)
    for name in ("vent", "door"):
        box.put(telemetry(0, name))
    assert {box.take(0.0)["servo"], box.take(0.0)["servo"]} == {"vent", "door"}  # type: ignore[index]
    for name in ("vent", "door"):
        box.put(telemetry(1, name))
    assert box.take(0.5) == telemetry(1, "door")
    assert box.take(0.5) is None
    assert box.due() == 1.0


def test_a_listener_that_does_not_read_is_given_up() -> None:
    box = Outbox()
    for number in range(EVENTS_MAX):
        box.put({"type": "event", "number": number})
    with pytest.raises(TooSlow):
        box.put({"type": "event"})
