"""How to look for a mark that may not be there: so that the end stop, met instead, loads the teeth by no more than was announced.

A train of stiffness k that is stopped dead at a speed w is wound up by the rotor behind it, J at the output, to T = w·sqrt(J·k); a
drive that goes on pushing with F winds it up to F + sqrt(F² + T²) (energy of the rotor, work of the drive, and the spring).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from geartender.bench.procedures.work import Work
from geartender.servo.settings import STALL_SHARE, blow_nm

PUSH_SHARE = 0.4
"""Share of the torque that the drive pushes with: enough for the load of a new machine, far less than a stop may get."""

FRICTION_UNSURE = 1.4
"""Times the sheet's friction that the drive may need on top of that."""

BLOW_UNSURE = 1.4
"""Times by which a blow may be harder than by the sheet: a rotor heavier by a quarter behind a train stiffer by a half."""

SLOWEST_DEG_S = 1.0
"""deg per s, below which nobody waits for a search; the blow is slight then, whatever the train."""


@dataclass(frozen=True, slots=True)
class Gentle:
    """A speed of the output, and the torque beyond friction, within which an end stop may be met."""

    speed_deg_s: float
    push_nm: float

    @classmethod
    def within(cls, work: Work, torque_nm: float, wanted_deg_s: float) -> Gentle:
        """No quicker than wanted, and loading the train by no more than a torque."""
        servo = work.session.servo
        push = PUSH_SHARE * torque_nm
        blow = math.sqrt(torque_nm**2 - 2 * push * torque_nm) / BLOW_UNSURE
        per_deg_s = blow_nm(servo.dynamics, servo.built, math.radians(1.0))
        return cls(min(wanted_deg_s, max(blow / per_deg_s, SLOWEST_DEG_S)), push)

    def homing(self, work: Work) -> dict[str, int]:
        """Settings to find home with."""
        servo, scale = work.session.servo, work.scale
        ma = work.hands.load_ma(self.push_nm) + round(FRICTION_UNSURE * work.dynamics.friction_a * 1000)
        own = servo.settings
        return {
            "home_fast": max(1, min(own["home_fast"], round(scale.fine_speed(self.speed_deg_s)))),
            "home_drop_mv": max(10, min(own["home_drop_mv"], round(ma * work.dynamics.motor.resistance_ohm))),
            "stall_ma": max(1, min(own["stall_ma"], round(STALL_SHARE * ma))),
        }
