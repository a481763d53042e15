"""The firmware's core: what the main loop does between ticks, for any board.

A board writes the tick's inputs and calls `tick`; its main loop hands bytes to `receive` and sends what `step` gives.
All times are the firmware's own clock (µs modulo 2^30). A request that changes the state waits for the tick that
carries it out, so that its answer comes after the change.
"""

from array import array

from . import tick as t
from .heat import Heat
from .homing import Homing
from .lead import Lead
from .lines import LineReader, encode
from .names import CAUSES, HOWS, LABELS, SOURCES
from .plan import wrapped
from .recorder import new_log, note
from .settings import Settings
from .verbs import Verbs

REPLIES_KEPT = 16  # twice the host's window: every request it may still repeat finds its answer
LINES_WAITING = 32  # lines held while a command waits for its tick; more are dropped, and sent again by the host


class Core:
    """One servo's firmware. `board` and `boot` are printable words without spaces; `boot` is new at each start."""

    def __init__(self, board, boot):
        self.state = array("i", [0] * t.WORDS)
        self.queue = array("i", [0] * t.QUEUE_WORDS)
        self.state[t.USUAL] = t.USUAL_TOP
        self.state[t.ROUGH] = t.ROUGH_TOP
        self.board = board
        self.boot = boot
        self.settings = Settings(self.state)
        self.heat = Heat(self.state)
        self.homing = Homing(self)
        self.lead = Lead(self)
        self.log = new_log()
        self.look = (
            None  # the board gives a function that reads the sensors' pins: bit 0 and 1 the disc's, 2 the home's
        )
        self.verbs = Verbs(self)
        self.reader = LineReader()
        self.period_ms = 0
        self.address = ""  # to open on a phone
        self.can_rest = False  # there are files that the host may want to change,
        self.to_rest = False  # and it has asked for that
        self.total = 0  # the count, not wrapped
        self._clock = 0  # the time of the last turn of the main loop, not wrapped
        self._waiting = []
        self._replies = []
        self._expected = None
        self._greeting = ("", b"")
        self._held = None
        self._out = [self._event("boot", boot)]
        self._told = (0, 0, 0, 0)
        self._last_sent = 0

    # --- for the board

    def tick(self):
        """Do one tick; the board has written the inputs and takes the outputs."""
        t.tick(self.state, self.queue)
        note(self.state, self.log)

    def receive(self, data):
        """Take bytes from the host."""
        for body in self.reader.feed(data):
            self._line(body)

    def step(self):
        """Do one turn of the main loop; give the bytes to send."""
        s = self.state
        self.total += wrapped(s[t.COUNT] - self.total)
        self._clock = self.clock()
        if s[t.COMMAND] == 0 and s[t.KILL] == 0:
            self._release()
            self.homing.step()
            self.lead.step()
            self.verbs.step()
            if self.heat.step() and s[t.MODE] != t.OFF and s[t.COMMAND] == 0:
                self.fail(t.TOO_HOT)
            while self._waiting and s[t.COMMAND] == 0 and s[t.KILL] == 0:
                self._obey(*self._waiting.pop(0))
        self._tell()
        if self.period_ms and wrapped(s[t.NOW] - self._last_sent) >= self.period_ms * 1000:
            self._telemetry()
        out = b"".join(self._out)
        self._out = []
        return out

    # --- for the verbs and for homing

    def now(self):
        """Give the firmware's time."""
        return self.state[t.NOW]

    def clock(self):
        """Give the firmware's time in µs since it started, not wrapped."""
        return self._clock + wrapped(self.state[t.NOW] - self._clock)

    def post(self, command):
        """Hand a command to the tick; its arguments stand in the state already."""
        self.state[t.COMMAND] = command

    def ramp(self, label, motion, speed, left, after):
        """Hand a ramp to the tick: speed in 2^-24 count per tick, `left` ticks until it ends by itself."""
        s = self.state
        s[t.ARG_LABEL] = label
        s[t.ARG_MOTION] = motion
        s[t.ARG_SPEED] = speed
        s[t.ARG_ACCEL] = s[t.S_RAMP_ACCEL]
        s[t.ARG_JERK] = s[t.S_RAMP_JERK]
        s[t.ARG_LEFT] = left
        s[t.ARG_AFTER] = after
        self.post(t.C_RAMP)

    def homed(self, count, frac):
        """Take a place, in counts and 2^-16, as the home edge."""
        s = self.state
        s[t.ARG_INT] = count
        s[t.ARG_FRAC] = frac
        self.post(t.C_HOMED)

    def fail(self, cause):
        """Stop by itself, category 1, for a cause that the main loop has noticed."""
        self.state[t.ARG_CODE] = cause
        self.post(t.C_FAULT)

    def conversing(self):
        """Tell whether a conversation is open."""
        return self._expected is not None

    def open(self, request_id):
        """Open a conversation whose next request has the id after this one."""
        self._expected = request_id + 1
        self._replies = []
        self._waiting = []

    def unwrapped(self, count, frac24=0):
        """Give a position near the present count in 1/65536 count, raw frame."""
        return ((self.total + wrapped(count - self.total)) << 16) + (frac24 >> 8)

    def origin(self):
        """Give the position of the home edge in 1/65536 count, raw frame."""
        s = self.state
        return self.unwrapped(s[t.ORIGIN_INT]) + s[t.ORIGIN_FRAC]

    def reference(self):
        """Give the commanded position in 1/65536 count, raw frame."""
        return self.unwrapped(self.state[t.R_INT], self.state[t.R_FRAC])

    # --- lines

    def _line(self, body):
        self.state[t.SILENT] = 0
        if body.startswith("stop "):
            # what came before the stop and has not been obeyed yet must not start anything after it
            self._waiting = [(line, True) for line, _ in self._waiting]
            self.verbs.stop(body.split(" ")[1:])
        elif len(self._waiting) < LINES_WAITING:
            self._waiting.append((body, False))

    def _obey(self, body, overtaken):
        """Answer one request line, once; `overtaken` by a stop it starts nothing."""
        if body.startswith("stop "):
            self.verbs.ramped_stop(body.split(" ")[1:])
            return
        words = body.split(" ")
        try:
            request_id = int(words[0])
            verb = words[1]
        except (ValueError, IndexError):
            self.reader.bad += 1
            return
        if verb in ("ok", "no"):  # an answer of this firmware that the line led back: it must not use up an id
            self.reader.bad += 1
        elif verb == "hello":
            self._greet(request_id, body)
        elif self._expected is None:
            self._send("%d no hello" % request_id)
        elif request_id == self._expected:
            self._expected += 1
            self._answer(request_id, self.verbs.obey(verb, words[2:], overtaken))
        elif request_id > self._expected:
            self._send("%d no order" % request_id)
        else:
            self._again(request_id)

    def _greet(self, request_id, body):
        """Open a conversation; the same greeting again is a repetition on the line, and is answered from memory."""
        if body == self._greeting[0]:
            self._out.append(self._greeting[1])
            return
        self._answer(request_id, self.verbs.hello(request_id, body.split(" ")[2:]))
        if self.conversing():
            self._greeting = (body, self._replies[-1][1])

    def _again(self, request_id):
        for known, line in self._replies:
            if known == request_id:
                self._out.append(line)
                return
        self._send("%d no stale" % request_id)

    def _answer(self, request_id, reply):
        line = encode("%d %s" % (request_id, reply))
        self._replies.append((request_id, line))
        if len(self._replies) > REPLIES_KEPT:
            self._replies.pop(0)
        if self.state[t.COMMAND] or self.state[t.KILL]:
            self._held = line
        else:
            self._out.append(line)

    def _release(self):
        """Send the answer that waited for its tick, after telemetry that shows the change."""
        if self._held is not None:
            self._tell()
            self._telemetry()
            self._out.append(self._held)
            self._held = None

    def _send(self, text):
        self._out.append(encode(text))

    def keep(self, body):
        """Let a line wait for its turn, ahead of the others."""
        self._waiting.insert(0, (body, False))

    # --- what the host is told

    def _event(self, name, *fields):
        return encode("! %d %s%s" % (self.state[t.NOW], name, "".join(" " + str(field) for field in fields)))

    def _tell(self):
        """Send events for what has changed since the last turn."""
        s = self.state
        told = (s[t.FAULT], s[t.ENDED], s[t.MARKS], s[t.SOURCE])
        if s[t.WENT_SILENT]:
            s[t.WENT_SILENT] = 0
            self._out.append(self._event("silent"))
        if told == self._told:
            return
        if told[0] and told[0] != self._told[0]:
            self._out.append(self._event("fault", CAUSES[told[0]]))
        if told[1] != self._told[1]:
            self._out.append(self._event("ended", told[1], HOWS[s[t.HOW]]))
        if told[2] != self._told[2]:
            self._out.append(self._event("audit", s[t.AUDIT_OFF]))
        if told[3] != self._told[3]:
            self._out.append(self._event("lead", SOURCES[told[3]]))
        self._told = told
        if self.period_ms:
            self._telemetry()

    def _telemetry(self):
        s = self.state
        self._last_sent = s[t.NOW]
        self._send(
            " ".join(
                [
                    "~",
                    str(s[t.NOW]),
                    LABELS[s[t.LABEL]],
                    str(s[t.HOMED]),
                    str(self.total),
                    str(self.reference()),
                    str(s[t.X_SPEED] * 500),
                    str(s[t.DUTY] if s[t.BRIDGE_OUT] else 0),
                    str(s[t.CURRENT]),
                    str(s[t.LOAD]),
                    str(s[t.SUPPLY_IN]),
                    str(self.heat.winding()),
                    str(s[t.MOTION]),
                    str(s[t.ENDED]),
                    HOWS[s[t.HOW]],
                    CAUSES[s[t.FAULT]],
                    str(s[t.STOP_NUMBER]),
                    str(s[t.PEAK]),
                    str(self.origin()),
                    str(s[t.ILLEGAL_IN]),
                    str(s[t.MARKS]),
                    SOURCES[s[t.SOURCE]],
                    str(self.lead.pulse.us()),
                    str(s[t.EASED]),
                ]
            )
        )
