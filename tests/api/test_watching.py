"""What whoever watches over the service sees: /healthz and /metrics."""

import asyncio
import re
from typing import Any

import pytest
from prometheus_client.parser import text_string_to_metric_families

from geartender.api.app import create_app
from geartender.api.health import reasons_not_ready
from geartender.api.metrics import LAG_BOUNDS_S, Metrics
from geartender.api.models import Health
from geartender.cli.running import ridge_vent
from geartender.config import parse_settings
from geartender.firmware.version import VERSION
from geartender.sequences.run_models import RunState
from geartender.servo.models import LinkReport
from geartender.store.trouble import TELLS, Trouble
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.api.kit import Kit, run


def link(**changes: Any) -> LinkReport:
    good: dict[str, Any] = {
        "state": "connected",
        "reason": None,
        "round_trip_ms": 2.5,
        "errors": 3,
        "reconnects": 1,
        "firmware_version": VERSION,
        "protocol_version": 1,
        "board_id": "b",
    }
    return LinkReport(**good | changes)


def test_a_service_that_hears_its_servos_and_keeps_things_is_ready() -> None:
    async def test(kit: Kit) -> None:
        health = Health.model_validate((await kit.http.get("/healthz")).json())
        assert (health.alive, health.ready, health.reasons, health.status) == (True, True, [], "ok")
        assert health.servos == {"vent": "ready"}
        assert health.links["vent"].firmware_version == "0.1.0"

    run(test)


@pytest.mark.parametrize(
    ("trouble", "report", "says"),
    [
        (Trouble.FULL, link(), TELLS[Trouble.FULL]),
        (None, link(state="offline", reason="cannot open /dev/x: gone"), "vent: no link to the firmware: cannot open"),
        (None, link(state="connecting", reason=None), "vent: no link to the firmware: connecting"),
        (None, link(state="incompatible"), "another protocol; run: geartender firmware install"),
        (None, link(firmware_version="0.0.9"), "vent: its firmware is 0.0.9"),
    ],
)
def test_why_it_is_not_ready_is_said_in_plain_words(trouble: Trouble | None, report: LinkReport, says: str) -> None:
    (reason,) = reasons_not_ready(trouble, {"vent": report})
    assert says in reason


def test_a_servo_without_values_yet_is_not_ready_though_it_is_connected() -> None:
    (reason,) = reasons_not_ready(None, {"vent": link()}, ["vent"])
    assert reason == "vent: connected, and waiting for its first values"


def samples(exposition: str) -> dict[str, dict[tuple[tuple[str, str], ...], float]]:
    found: dict[str, dict[tuple[tuple[str, str], ...], float]] = {}
    for family in text_string_to_metric_families(exposition):
        for sample in family.samples:
            found.setdefault(sample.name, {})[tuple(sorted(sample.labels.items()))] = sample.value
    return found


def test_the_figures_are_those_of_the_service() -> None:
    async def test(kit: Kit) -> None:
        service = kit.app.state.service
        service.runs.results[RunState.DONE] += 2
        await asyncio.sleep(1.0)  # what was handed to the store at the start is done by then
        answer = await kit.http.get("/metrics")
        assert answer.headers["content-type"].startswith("text/plain; version=0.0.4")
        found = samples(answer.text)
        vent = (("servo", "vent"),)
        assert found["geartender_link_up"][vent] == 1
        assert found["geartender_link_round_trip_seconds"][vent] == 0.001
        assert found["geartender_link_line_errors_total"][vent] == 0
        assert found["geartender_link_reconnects_total"][vent] == 0
        assert found["geartender_runs_total"][(("result", "done"),)] == 2
        assert found["geartender_store_up"][()] == 1
        assert found["geartender_store_queue"][()] == 0
        states = {labels: on for labels, on in found["geartender_servo_state"].items() if on}
        assert states == {(("servo", "vent"), ("state", "ready")): 1.0}

    run(test)


def test_no_series_tells_when_it_was_made_and_no_label_holds_an_id() -> None:
    async def test(kit: Kit) -> None:
        await kit.http.post("/api/v1/servos/vent/moves", json={"to_deg": 1})
        text = (await kit.http.get("/metrics")).text
        assert "_created" not in text
        labels = set(re.findall(r'[{,](\w+)="', text))
        assert labels == {"servo", "state", "le", "version"}

    run(test)


def test_a_loop_that_is_held_up_shows_in_its_lag() -> None:
    async def main(world: World) -> str:
        metrics = Metrics()
        behind = iter([0.0, 0.05, 0.0, 2.0])
        late = 0.0

        def now() -> float:
            nonlocal late
            late += next(behind, 0.0)
            return world.monotonic() + late

        measuring = asyncio.create_task(metrics.measure_lag(now))
        await asyncio.sleep(1.0)
        measuring.cancel()
        return metrics.exposition().decode()

    buckets = samples(run_virtual(main))["geartender_loop_lag_seconds_bucket"]
    counts = {float(dict(labels)["le"]): count for labels, count in buckets.items()}
    assert set(counts) == {*LAG_BOUNDS_S, float("inf")}
    assert counts[0.1] - counts[0.03] == 1
    assert counts[5.0] - counts[1.0] == 1


def test_two_services_in_one_process_keep_their_figures_apart() -> None:
    async def main(_: World) -> tuple[bytes, bytes]:
        settings = parse_settings({"servo": [{"name": "vent", "port": "none", "build": ridge_vent()}]})
        one, two = (create_app(settings).state.service for _ in range(2))
        one.runs.results[RunState.DONE] += 1
        return one.metrics.exposition(), two.metrics.exposition()

    one, two = run_virtual(main)
    assert b'runs_total{result="done"} 1.0' in one
    assert b"runs_total{" not in two
