"""What the bench needs of a servo beyond motions: other settings for a while, a held voltage, the record, the sensors' pins."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Mapping
from dataclasses import dataclass, field

from geartender.errors import Busy
from geartender.link.lines import Telemetry, wrapped
from geartender.servo.live import Live
from geartender.servo.models import MotionKind
from geartender.servo.motions import Motion, Who
from geartender.servo.settings import Dynamics
from geartender.servo.steering import Steering
from geartender.servo.units import TICK_S

SAMPLE_DIGITS = 7
SAMPLES_A_LINE = 20
"""Of the firmware's record: see PROTOCOL.md."""

LOOK_S = 0.1
"""s between two looks for new samples: a tenth of what the ring holds at every tick."""

OPEN_LOOP: Mapping[str, int] = {
    **dict.fromkeys(("kp_num", "ki_num", "ka_num", "damping", "friction_ma", "blow_num", "pulse_enabled"), 0),
    "watch_num": 1,
    "watch_shift": 24,
    "jam_speed": 4_194_303,
    "following_counts": 100_000,
    "wrong_way_counts": 10_000,
    "stall_ma": 30_000,
    "stall_ms": 10_000,
    "overload_ease": 0,
    "rest_mode": 2,
}
"""Settings under which the drive gives a voltage by feed-forward alone. The bound on torque and the travel's guard stay."""


@dataclass(frozen=True, slots=True)
class Levels:
    """What the pins of the three sensors read."""

    disc_a: int
    disc_b: int
    home: int


@dataclass(slots=True)
class Recording:
    """A record of the firmware's ticks, and the rows of telemetry meanwhile."""

    every: int
    began: int
    """Firmware time, µs, at which it was asked for; the first sample is one tick later."""
    first_count: int
    """A raw count from about that moment: samples tell it modulo 2048 only."""
    words: list[int] = field(default_factory=list)
    lost: int = 0
    """Samples that the line was too slow for."""
    rows: list[Telemetry] = field(default_factory=list)

    def series(self) -> tuple[list[float], list[int], list[float], list[bool]]:
        """Times in s from its beginning, raw counts, duties (-1 to 1, each given from its time on), and the home mark."""
        counts: list[int] = []
        count = self.first_count
        for word in self.words:
            count += ((word >> 16) - count + 1024) % 2048 - 1024
            counts.append(count)
        step = self.every * TICK_S
        times = [TICK_S + index * step for index in range(len(counts))]
        return (
            times,
            counts,
            [((word & 0x7FFF) - 16384) / 10000 for word in self.words],
            [bool(word >> 15 & 1) for word in self.words],
        )

    def supply(self) -> list[tuple[float, float]]:
        """Times in s from its beginning, and the supply in V, from telemetry; none where it is not measured."""
        return [(wrapped(row.t - self.began) / 1e6, row.supply / 1000) for row in self.rows if row.supply]


class Trials(Steering):
    """A servo that the bench can work with. Who calls this holds the servo by a claim."""

    @property
    def live(self) -> Live:
        """The newest telemetry. Raises Offline."""
        return self._require_live()

    @property
    def dynamics(self) -> Dynamics:
        """The drive as it is taken to be."""
        return Dynamics.of(self.built, self._scale)

    @property
    def dynamics_top_deg_s(self) -> float:
        """Speed of the output that the whole supply would make without friction."""
        dynamics = self.dynamics
        volts = self.built.motor.supply_v
        return volts * dynamics.counts_per_volt_second * self._scale.deg_per_count

    @property
    def settings(self) -> Mapping[str, int]:
        """The settings that the sheet and what was measured make."""
        self._require_sheet()
        return dict(self._settings or {})

    async def try_settings(self, changes: Mapping[str, int] | None) -> None:
        """Let the firmware work with changed settings until None, or the next connection. Raises Busy unless disarmed."""
        live = self._require_live()
        if live.armed:
            raise Busy("Settings can be changed only while the servo is disarmed.")
        await self._drive.configure({**self.settings, **(changes or {})})

    async def disarmed(self) -> None:
        """Wait until telemetry shows that drive is gone. Raises Offline when the link is."""
        while self._require_live().armed:
            await self._changed()

    async def levels(self) -> Levels:
        """What the sensors' pins read. Raises Refused."""
        reply = await self._drive.ask("sense")
        return Levels(*(int(field) for field in reply.fields[1:4]))

    async def hold_speed(self, who: Who, deg_s: float, for_s: float) -> Motion:
        """Rotate at a speed without regard to the travel, which the firmware's guard still holds. Raises Refused."""
        async with self._starting:
            self._require_movable(who, homed=False)
            if self._ledger.live:
                raise Busy("Another motion runs. Stop it first.")
            motion = self._ledger.new(MotionKind.TURN, who, self._wall())
            await self._begins(motion, {"speed_deg_s": deg_s, "for_s": for_s, "bench": True}, self._stops)
            speed = self._scale.wire_rate(deg_s)
            return await self._begin(
                motion, "turn", motion.number, self._drive.deadline(), speed, max(1, round(for_s * 1e6))
            )

    async def hold_volts(self, who: Who, volts: float, for_s: float) -> Motion:
        """Hold a voltage at the motor: with the settings of OPEN_LOOP, the feed-forward of a speed is one. Raises Refused."""
        settings = self._settings or {}
        per_count_s = TICK_S * 2**24 / 2 ** settings["speed_shift"] * settings["ke_num"] / 2 ** settings["ke_shift"]
        counts_s = volts * 1000 / per_count_s
        return await self.hold_speed(who, counts_s * self._scale.deg_per_count, for_s)

    async def change_speed(self, motion: Motion, deg_s: float, for_s: float) -> None:
        """Give a turn that runs another speed and time. Raises Refused."""
        fields = (motion.number, self._drive.deadline(), self._scale.wire_rate(deg_s), max(1, round(for_s * 1e6)))
        await self._drive.ask("turn", *fields)

    @contextlib.asynccontextmanager
    async def recording(self, every: int = 1) -> AsyncIterator[Recording]:
        """Have the firmware's ticks recorded for as long as this lasts. Raises Refused."""
        reply = await self._drive.ask("record", every)
        record = Recording(every, int(reply.fields[0]), self._require_live().row.count)
        self._watch = record.rows.append
        reader = asyncio.create_task(self._read(record))
        try:
            yield record
            await asyncio.sleep(LOOK_S)
        finally:
            self._watch = None
            reader.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await reader
            await self._drive.ask("record", 0)
        while await self._read_line(record):
            pass

    async def _read(self, record: Recording) -> None:
        while True:
            while await self._read_line(record) == SAMPLES_A_LINE:
                pass
            await asyncio.sleep(LOOK_S)

    async def _read_line(self, record: Recording) -> int:
        """Read a line of samples; how many it had."""
        have = len(record.words)
        reply = await self._drive.ask("samples", have)
        first, text = int(reply.fields[0]), reply.fields[1] if len(reply.fields) > 1 else ""
        words = [int(text[at : at + SAMPLE_DIGITS], 16) for at in range(0, len(text), SAMPLE_DIGITS)]
        if first > have:
            record.lost += first - have
            record.words += [record.words[-1] if record.words else words[0]] * (first - have)
        record.words += words
        return len(words)
