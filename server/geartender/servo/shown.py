"""Builds the snapshot: everything about a servo as the outside sees it. Pure."""

from __future__ import annotations

from typing import Literal

from geartender.build import BuildSheet
from geartender.link.events import Phase
from geartender.link.lines import Hello
from geartender.link.session import Link
from geartender.servo.live import Live, rounded
from geartender.servo.models import (
    FaultReport,
    HelmReport,
    LimitsReport,
    LinkReport,
    ServoState,
    Snapshot,
    TravelReport,
)
from geartender.servo.motions import Motion
from geartender.servo.units import Scale


def snapshot_of(
    *,
    name: str,
    sheet: BuildSheet,
    scale: Scale,
    state: ServoState,
    live: Live | None,
    fault: FaultReport | None,
    helm: HelmReport | None,
    motion: Motion | None,
    run: str | None,
    override: float,
    link: LinkReport,
    now: float,
) -> Snapshot:
    """The snapshot of these; without telemetry everything measured is null, never the last known value."""
    return Snapshot(
        name=name,
        state=state,
        homed=live is not None and live.homed,
        armed=live is not None and live.armed,
        angle_deg=rounded(live.angle_deg) if live else None,
        target_deg=motion.target_deg if motion else None,
        speed_deg_s=rounded(live.speed_deg_s) if live else None,
        torque_nm=rounded(live.torque_nm) if live else None,
        duty=live.row.duty / 10000 if live else None,
        supply_v=live.supply_v if live else None,
        winding_c=live.row.winding / 10 if live else None,
        fault=fault,
        helm=helm,
        motion=motion.report() if motion else None,
        run=run,
        link=link,
        source="pulse" if live and live.led_by_pulse else "host",
        pulse_us=live.row.pulse or None if live else None,
        held_up=live is not None and live.held_up,
        override=override,
        limits=_limits(sheet),
        travel=_travel(sheet),
        deg_per_count=scale.deg_per_count,
        counts=live.counts if live else None,
        age_s=rounded(max(0.0, now - live.at)) if live else None,
    )


def link_report(link: Link, hello: Hello | None, reason: str | None, *, ready: bool) -> LinkReport:
    """How the link stands."""
    exchange = link.exchange
    round_trip = exchange.round_trip
    return LinkReport(
        state=_link_state(exchange.phase, port_open=link.port_open, ready=ready),
        reason=reason,
        round_trip_ms=None if round_trip is None or exchange.phase is not Phase.OPEN else round(round_trip * 1000, 3),
        errors=exchange.dropped + exchange.firmware_dropped,
        reconnects=link.reconnects,
        firmware_version=hello.version if hello else None,
        protocol_version=hello.protocol if hello else None,
        board_id=hello.board if hello else None,
    )


def _link_state(
    phase: Phase, *, port_open: bool, ready: bool
) -> Literal["connected", "connecting", "offline", "incompatible"]:
    if phase is Phase.INCOMPATIBLE:
        return "incompatible"
    if phase is Phase.OPEN and ready:
        return "connected"
    return "connecting" if port_open else "offline"


def _limits(sheet: BuildSheet) -> LimitsReport | None:
    limits = sheet.limits
    if limits is None:
        return None
    return LimitsReport(
        speed_deg_s=limits.speed_deg_s,
        accel_deg_s2=limits.accel_deg_s2,
        jerk_deg_s3=limits.jerk_deg_s3,
        torque_nm=limits.torque_nm,
    )


def _travel(sheet: BuildSheet) -> TravelReport | None:
    travel = sheet.travel
    if travel is None:
        return None
    return TravelReport(
        min_deg=travel.min_deg,
        max_deg=travel.max_deg,
        endless=travel.endless,
        up_word=travel.up_word,
        down_word=travel.down_word,
    )
