"""Who leads, the host or the pulse, and what the pulse leads to.

The host leads unless it hands the lead to the pulse, or none has spoken since the start. Any stop, fault, or command of the host
ends the pulse's lead, and only the host can give it back. A pulse that is lost does not end it: the servo stops as the sheet says,
and goes on when enough good pulses have come again. Runs in the main loop.
"""

from . import tick as t
from .follow import prepare
from .pulse import Pulse

HOST = 0
PULSE = 1
ALONE_US = (
    3000000  # µs from the start in which a host that is there has greeted; showing itself on USB takes one or two s
)


class Lead:
    """The lead of one core."""

    def __init__(self, core):
        self._core = core
        self.pulse = Pulse(core.settings)
        self._alone = True  # no host has spoken, and nothing has ended the pulse's lead, since the start

    def greeted(self):
        """A host is there."""
        self._alone = False

    def led(self):
        """Tell whether the pulse leads."""
        return self._core.state[t.SOURCE] == PULSE

    def take(self, width):
        """Take a pulse, its width in 1/16 µs."""
        self.pulse.take(width, self._core.clock())

    def give(self):
        """Let the pulse lead."""
        self._core.state[t.SOURCE] = PULSE

    def end(self):
        """Let the host lead; what the pulse has set going is brought to rest by a category 2 stop."""
        s = self._core.state
        if s[t.SOURCE] == HOST:
            return
        self.yielded()
        if s[t.MODE] not in (t.OFF, t.REST):
            s[t.ARG_AFTER] = t.STAY
            self._core.post(t.C_STOP)

    def yielded(self):
        """Let the host lead, whose own command takes care of what moves."""
        s = self._core.state
        self._alone = False
        if s[t.SOURCE] == PULSE:
            s[t.SOURCE] = HOST
            s[t.AIM_ON] = 0
            self._core.homing.abandon()

    def possible(self):
        """Give None where the pulse may lead, else the reason why not."""
        core = self._core
        if core.settings.missing():
            return "unset"
        if not self.pulse.enabled():
            return "pulseless"
        if not core.state[t.HOMED] and not core.settings.get("pulse_home"):
            return "homeless"
        return None

    def step(self):
        """Look at the pulse and at the tick, ask the tick for what comes next."""
        s = self._core.state
        self.pulse.step(self._core.clock())
        if s[t.SOURCE] == HOST:
            if self._alone and self.pulse.present and self._core.clock() >= ALONE_US and not s[t.FAULT]:
                if self.possible() is None:
                    self.give()
        elif s[t.FAULT]:
            self.yielded()
        elif s[t.COMMAND] == 0:
            if self.pulse.present:
                self._go_on()
            else:
                self._lost()

    def _go_on(self):
        """Arm, home or follow, as it stands."""
        core = self._core
        s = core.state
        if s[t.MODE] == t.OFF:
            if self.possible() is None:
                core.post(t.C_ARM)
        elif s[t.MODE] in (t.FOLLOW, t.EASE) or (s[t.MODE] == t.REST and s[t.HOMED]):
            self._aim()
        elif s[t.MODE] == t.REST and not core.homing.running() and core.settings.get("pulse_home"):
            core.homing.begin(0)

    def _aim(self):
        core = self._core
        s = core.state
        place = (core.origin() + self.pulse.place()) >> 16
        if not s[t.S_ENDLESS]:
            edge = core.origin() >> 16
            place = min(max(place, edge + s[t.S_TRAVEL_LOW]), edge + s[t.S_TRAVEL_HIGH])
        s[t.AIM] = place & t.MASK
        if not s[t.AIM_ON]:
            prepare(core)
            s[t.AIM_AT] = (s[t.AIM] + t.HALF) & t.MASK
            s[t.AIM_ON] = 1

    def _lost(self):
        """Stop as the sheet says: with the drive taken away, or armed."""
        core = self._core
        s = core.state
        hold = core.settings.get("pulse_hold")
        core.homing.abandon()
        if s[t.MODE] == t.REST:
            s[t.AIM_ON] = 0
            if not hold:
                core.post(t.C_DISARM)
        elif s[t.MODE] != t.OFF and s[t.LABEL] != t.STOPPING:
            s[t.ARG_AFTER] = t.STAY if hold else t.REMOVE
            core.post(t.C_STOP)
