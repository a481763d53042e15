"""Homing: always the same edge of the mark, from the same side, fast and then slow.

The edge is the one that is met first when seeking as the sheet says. Runs in the main loop; the tick catches the edge
itself. When the lever meets its end stop on the way it started beyond the mark: it turns round once, passes the mark
and comes back.
"""

from . import tick as t
from .plan import wrapped

LEAVE = 0  # off the mark, against the seeking direction
SEEK = 1
REVERSE = 2  # from the end stop back over the mark
BACK = 3  # from the edge met at speed, back off a bit
SLOW = 4


class Homing:
    """One homing under way, or none."""

    def __init__(self, core):
        self._core = core
        self._phase = None
        self._motion = 0
        self._from = 0
        self._edges = 0
        self._bumps = 0
        self._edge = 0  # count where the edge was met at speed
        self._off_at = None  # count where the mark was left
        self._seen = False

    def begin(self, motion):
        """Start for the motion of this number."""
        s = self._core.state
        self._motion = motion
        s[t.BUMP] = 0
        self._bumps = 0
        self._enter(LEAVE if s[t.HOME] else SEEK)

    def running(self):
        """Tell whether a homing is under way."""
        return self._phase is not None

    def abandon(self):
        """Forget it: another motion, a stop or a fault has taken over."""
        self._phase = None

    def _enter(self, phase):
        s = self._core.state
        self._phase = phase
        self._from = s[t.COUNT]
        self._edges = s[t.EDGES]
        self._off_at = None
        self._seen = False
        way = s[t.S_HOME_WAY] if phase in (SEEK, SLOW) else -s[t.S_HOME_WAY]
        speed = s[t.S_HOME_SLOW] if phase == SLOW else s[t.S_HOME_FAST]
        self._core.ramp(t.HOMING, self._motion, way * speed, 0, t.PAUSE)

    def step(self):
        """Look at what the tick has seen, go on to the next phase when it is time."""
        s = self._core.state
        if self._phase is None or s[t.COMMAND]:
            return
        if s[t.LABEL] != t.HOMING or s[t.MOTION] != self._motion:
            self.abandon()
        elif s[t.BUMP]:
            s[t.BUMP] = 0
            self._bumped()
        elif abs(wrapped(s[t.COUNT] - self._from)) > s[t.S_HOME_SPAN]:
            self._fail()
        elif self._phase in (SEEK, SLOW):
            if s[t.EDGES] != self._edges:
                self._met()
        elif self._phase == BACK:
            if wrapped(s[t.COUNT] - self._edge) * -s[t.S_HOME_WAY] >= s[t.S_HOME_BACK]:
                self._enter(SLOW)
        else:
            self._clear(s)

    def _bumped(self):
        """The lever met something: turn round if that can be the end stop, else give up."""
        if self._bumps:
            self._fail()
            return
        self._bumps = 1
        if self._phase == SEEK:
            self._enter(REVERSE)
        elif self._phase == BACK:  # ran on over the edge into the stop behind it
            self._enter(BACK)
        else:
            self._fail()

    def _met(self):
        """The edge was met: from fast, back off for the slow approach; from slow, it is home once its cell is crossed."""
        if self._phase == SEEK:
            self._edge = self._core.state[t.EDGE_INT]
            self._enter(BACK)
        elif self._core.state[t.EDGE_SPAN]:
            self._phase = None
            self._core.homed(*self._edge_place())

    def _edge_place(self):
        """Give the place of the edge: its count, and how far into the count's cell it lies in 2^-16.

        The cell was crossed at a steady speed, so the share of the time is the share of the way.
        """
        s = self._core.state
        share = min((s[t.EDGE_QUIET] << 16) // s[t.EDGE_SPAN], 0xFFFF)
        return (s[t.EDGE_COUNT], share if s[t.S_HOME_WAY] > 0 else 0xFFFF - share)

    def _clear(self, s):
        """Moving off the mark: once it is left, go a bit further, then approach slowly."""
        if s[t.HOME]:
            self._seen = True
            self._off_at = None
        elif self._off_at is None:
            if self._seen:
                self._off_at = s[t.COUNT]
        elif abs(wrapped(s[t.COUNT] - self._off_at)) >= s[t.S_HOME_BACK]:
            self._enter(SLOW)

    def _fail(self):
        self._phase = None
        self._core.fail(t.HOME_NOT_FOUND)
