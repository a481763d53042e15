"""What `/metrics` says: figures for a time series database, in the text format that Prometheus reads.

Labels are names that the configuration gives and words of fixed lists; no label holds an id, so the number of series is bounded.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING, TypeVar

from prometheus_client import CollectorRegistry, Histogram, ProcessCollector, disable_created_metrics, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from geartender.servo.models import LinkReport, ServoState

if TYPE_CHECKING:
    from geartender.api.recorder import Recorder
    from geartender.api.service import Service

MEDIA_TYPE = "text/plain; version=0.0.4; charset=utf-8"
"""The text format that every reader of such figures knows."""

LAG_LOOK_S = 0.25
"""s between two looks at the lag of the event loop: the silence after which the firmware stops by itself."""

LAG_BOUNDS_S = (0.001, 0.003, 0.01, 0.03, 0.1, 0.25, 1.0, 5.0)
"""s; a tick of telemetry is 30 ms, and at 250 ms the firmware takes the host for silent."""


Rows = Iterable[tuple[tuple[str, ...], float]]
"""The values of the labels, and the figure, of each series."""

Family = TypeVar("Family", GaugeMetricFamily, CounterMetricFamily)


class Metrics:
    """The registry of one service, and what is measured on the way."""

    def __init__(self) -> None:
        disable_created_metrics()  # type: ignore[no-untyped-call]
        self._registry = CollectorRegistry(auto_describe=False)
        ProcessCollector(registry=self._registry)
        self._lag = Histogram(
            "geartender_loop_lag_seconds",
            "How much later than asked for the event loop woke up.",
            buckets=LAG_BOUNDS_S,
            registry=self._registry,
        )

    def watch(self, service: Service, record: Recorder, version: str) -> None:
        """Read these whenever somebody asks."""
        self._registry.register(_Reader(service, record, version))

    async def measure_lag(self, now: Callable[[], float]) -> None:
        """Measure how late the loop wakes up, for ever. Ends by cancellation only."""
        while True:
            due = now() + LAG_LOOK_S
            await asyncio.sleep(LAG_LOOK_S)
            self._lag.observe(max(0.0, now() - due))

    def exposition(self) -> bytes:
        """Everything as it is now."""
        return generate_latest(self._registry)


class _Reader(Collector):
    """Reads the figures where they are kept, so that nothing is counted twice."""

    def __init__(self, service: Service, record: Recorder, version: str) -> None:
        self._service = service
        self._record = record
        self._version = version

    def collect(self) -> Iterator[Metric]:
        yield _gauge("info", "The program and its version.", ("version",), [((self._version,), 1.0)])
        yield from self._servos()
        yield from self._store()
        yield _gauge("live_sockets", "Open live sockets.", (), [((), float(self._service.live_sockets.total()))])
        yield _counter("motions", "Motions that have ended.", ("servo", "kind", "result"), self._record.motions.items())
        yield _counter("faults", "Times a servo stopped itself.", ("servo", "cause"), self._record.faults.items())
        results = [((state.value,), count) for state, count in self._service.runs.results.items()]
        yield _counter("runs", "Runs of sequences that have ended.", ("result",), results)

    def _servos(self) -> Iterator[Metric]:
        shown = {name: servo.snapshot() for name, servo in self._service.servos.items()}
        states = [
            ((name, state.value), float(one.state is state)) for name, one in shown.items() for state in ServoState
        ]
        yield _gauge("servo_state", "1 for the state the servo is in.", ("servo", "state"), states)
        links = {name: one.link for name, one in shown.items()}
        up = [((name,), float(link.state == "connected")) for name, link in links.items()]
        yield _gauge("link_up", "1 while service and firmware hear each other.", ("servo",), up)
        trips = [((name,), trip) for name, link in links.items() if (trip := _round_trip_s(link)) is not None]
        yield _gauge("link_round_trip_seconds", "Least round trip of the last minute.", ("servo",), trips)
        errors = [((name,), link.errors) for name, link in links.items()]
        yield _counter("link_line_errors", "Lines dropped by either side, in this connection.", ("servo",), errors)
        again = [((name,), link.reconnects) for name, link in links.items()]
        yield _counter("link_reconnects", "Connections made after the first.", ("servo",), again)

    def _store(self) -> Iterator[Metric]:
        store = self._service.store
        yield _gauge("store_up", "1 while what happens is kept.", (), [((), float(store.trouble is None))])
        yield _gauge("store_queue", "Jobs handed to the store and not done yet.", (), [((), float(store.waiting))])
        free = [] if store.free is None else [((), float(store.free))]
        yield _gauge("store_free_bytes", "Bytes free where the database lies.", (), free)


def _gauge(name: str, help_text: str, labels: tuple[str, ...], rows: Rows) -> Metric:
    return _filled(GaugeMetricFamily(f"geartender_{name}", help_text, labels=labels), rows)


def _counter(name: str, help_text: str, labels: tuple[str, ...], rows: Rows) -> Metric:
    return _filled(CounterMetricFamily(f"geartender_{name}", help_text, labels=labels), rows)


def _filled(family: Family, rows: Rows) -> Family:
    for values, value in rows:
        family.add_metric(values, value)
    return family


def _round_trip_s(link: LinkReport) -> float | None:
    return None if link.round_trip_ms is None else link.round_trip_ms / 1000
