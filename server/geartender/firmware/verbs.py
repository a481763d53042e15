"""What each verb of the link does. A verb takes its fields as words and gives the reply behind the id."""

from . import tick as t
from .follow import pace, prepare
from .lead import HOST, PULSE
from .names import CAUSES
from .plan import JOIN_FROM_REST, JOIN_POSITION, PIECE_US_MAX, PIECES_MAX, Plan, wrapped
from .recorder import EVERY_MAX, begin, read
from .version import PROTOCOL, VERSION

NUMBER_TOP = 1 << 30  # motions, stop numbers and ticks of a turn are below: small integers on the board
START_AHEAD_US = 2 * t.TICK_US  # a queue must reach the tick before its start does
WITHIN = 2 << 16  # 2 counts: what a path may be off at the travel's end by rounding
STARTING = ("arm", "lead", "home", "plan", "piece", "bound", "go", "turn", "jog")


class Refusal(Exception):
    """A request that is refused: `args` are the reason and perhaps a detail."""


class Verbs:
    """The verbs of one core."""

    def __init__(self, core):
        self.core = core
        self._plan = None  # being written
        self._plans = []  # in force or waiting for their start, with the bank each is in
        self._table = {  # function and number of fields
            "beat": (self.beat, 0),
            "settings": (self.digest, 0),
            "rate": (self.rate, 1),
            "sense": (self.sense, 0),
            "record": (self.record, 1),
            "samples": (self.samples, 1),
            "arm": (self.arm, 1),
            "disarm": (self.disarm, 0),
            "lead": (self.lead, 2),
            "reset": (self.reset, 0),
            "maintain": (self.maintain, 0),
            "home": (self.home, 2),
            "plan": (self.plan, 4),
            "piece": (self.piece, 6),
            "bound": (self.bound, 1),
            "go": (self.go, 2),
            "turn": (self.turn, 4),
            "jog": (self.jog, 3),
        }

    def names(self):
        """Give the verbs that need an open conversation."""
        names = list(self._table)
        names.append("set")
        names.append("show")
        return sorted(names)

    def obey(self, verb, words, overtaken):
        """Do what a request asks; give `ok …` or `no …`. One that a stop has overtaken starts nothing."""
        try:
            if overtaken and verb in STARTING:
                raise Refusal("stopped")
            if verb == "set":
                fields = self.set(words)
            elif verb == "show":
                fields = self.show(words)
            elif verb in self._table:
                fields = self._call(self._table[verb], words)
            else:
                raise Refusal("verb")
        except Refusal as refusal:
            return "no " + " ".join(refusal.args)
        return " ".join(["ok"] + [str(field) for field in fields or ()])

    def _call(self, entry, words):
        if len(words) != entry[1]:
            raise Refusal("fields")
        return entry[0](*[_number(word) for word in words])

    # --- conversation

    def hello(self, request_id, words):
        """Open a conversation: disarm, forget what was asked before. A servo that the pulse leads goes on."""
        if len(words) != 2 or len(words[0]) != 8:
            return "no fields"
        if words[1] != str(PROTOCOL):
            return "no protocol %d" % PROTOCOL
        core = self.core
        s = core.state
        self._plan = None
        cause = CAUSES[s[t.FAULT]]
        core.open(request_id)
        core.lead.greeted()
        if not core.lead.led():
            core.homing.abandon()
            core.post(t.C_HELLO)
        return "ok %s %d %s %s %s %d %d %s %s %s" % (
            words[0],
            PROTOCOL,
            VERSION,
            core.board,
            core.boot,
            s[t.HOMED],
            s[t.STOP_NUMBER],
            cause,
            core.settings.digest(),
            "pieces,turn,jog,home,pulse",
        )

    def beat(self):
        """Tell the time and the counters of the line."""
        return (self.core.now(), self.core.reader.bad, self.core.state[t.OVERRAN_IN])

    def rate(self, period_ms):
        """Set the telemetry period."""
        if period_ms != 0 and (period_ms < 10 or period_ms > 1000):
            raise Refusal("range", "period_ms")
        self.core.period_ms = period_ms

    # --- looked at by the bench

    def sense(self):
        """Tell what the sensors' pins read."""
        if self.core.look is None:
            raise Refusal("unset", "pins")
        levels = self.core.look()
        return (self.core.now(), levels & 1, (levels >> 1) & 1, (levels >> 2) & 1)

    def record(self, every):
        """Start or end the record."""
        if every < 0 or every > EVERY_MAX:
            raise Refusal("range", "every")
        begin(self.core.log, every)
        return (self.core.now(),)

    def samples(self, first):
        """Give samples of the record."""
        if first < 0 or first >= NUMBER_TOP:
            raise Refusal("range", "first")
        return read(self.core.log, first)

    # --- settings

    def set(self, words):
        """Store settings, all or none."""
        if self.core.state[t.MODE] != t.OFF:
            raise Refusal("armed")
        if not words:
            raise Refusal("fields")
        refusal = self.core.settings.store(words)
        if refusal:
            raise Refusal(*refusal)
        self.core.lead.yielded()

    def show(self, words):
        """Take the address for the display."""
        if len(words) != 1:
            raise Refusal("fields")
        self.core.address = words[0]

    def digest(self):
        """Tell which settings are held."""
        return (self.core.settings.digest(), len(self.core.settings.missing()))

    # --- drive

    def arm(self, deadline):
        """Let the bridge drive."""
        self._in_time(deadline)
        if self.core.state[t.FAULT]:
            raise Refusal("fault", CAUSES[self.core.state[t.FAULT]])
        missing = self.core.settings.missing()
        if missing:
            raise Refusal("unset", missing[0])
        self.core.lead.end()
        if self.core.state[t.MODE] == t.OFF:
            self._plans = []
            self.core.post(t.C_ARM)

    def lead(self, source, deadline):
        """Hand the lead to the pulse, or take it back."""
        if source == HOST:
            self.core.lead.end()
            return
        if source != PULSE:
            raise Refusal("range", "source")
        self._in_time(deadline)
        s = self.core.state
        if s[t.FAULT]:
            raise Refusal("fault", CAUSES[s[t.FAULT]])
        reason = self.core.lead.possible()
        if reason:
            raise Refusal(reason)
        if not self.core.lead.led() and (s[t.MODE] not in (t.OFF, t.REST) or s[t.PENDING]):
            raise Refusal("busy")
        self._plans = []
        self.core.lead.give()

    def disarm(self):
        """Take drive away."""
        self.core.lead.yielded()
        self.core.homing.abandon()
        self.core.post(t.C_DISARM)

    def reset(self):
        """Clear the fault."""
        if self.core.state[t.MODE] != t.OFF:
            raise Refusal("armed")
        self.core.post(t.C_RESET)

    def maintain(self):
        """Put the program to rest, so that its files can be changed."""
        if not self.core.can_rest:
            raise Refusal("verb")
        if self.core.state[t.MODE] != t.OFF:
            raise Refusal("armed")
        self.core.lead.yielded()
        self.core.to_rest = True

    def step(self):
        """Prepare the tracker for a lever that was held up and is to go on, no faster than its newest plan."""
        s = self.core.state
        if s[t.MODE] == t.EASE and not s[t.TRACK_READY]:
            prepare(self.core, self._plans[-1][0] if self._plans else None)
            s[t.TRACK_READY] = 1

    def stop(self, words):
        """Take a stop line: category 0 at once, the others in their turn among the lines, ahead of all requests."""
        category, number = _stop_fields(words)
        if category == 0:
            s = self.core.state
            self.core.lead.yielded()
            self.core.homing.abandon()
            s[t.STOP_NUMBER] = number
            s[t.KILL] = 1
            # a board takes the bridge's drive away here and now; the tick follows with the rest
            s[t.BRIDGE_OUT] = 0
            s[t.DUTY_OUT] = 0
        elif category in (1, 2):
            self.core.keep("stop %d %d" % (category, number))

    def ramped_stop(self, words):
        """Do a category 1 or 2 stop, once a number."""
        category, number = _stop_fields(words)
        s = self.core.state
        if not self.core.conversing() or number == s[t.STOP_NUMBER]:
            return
        self.core.lead.yielded()
        self.core.homing.abandon()
        s[t.STOP_NUMBER] = number
        s[t.ARG_AFTER] = t.REMOVE if category == 1 else t.STAY
        if s[t.MODE] == t.REST and category == 1:
            self.core.post(t.C_DISARM)
        elif s[t.MODE] not in (t.OFF, t.REST) or s[t.PENDING]:
            self.core.post(t.C_STOP)

    # --- motion

    def home(self, motion, deadline):
        """Find the home mark."""
        self._may_move(motion, deadline)
        self._free()
        self.core.homing.begin(motion)

    def turn(self, motion, deadline, speed, for_us):
        """Rotate at a held speed."""
        self._may_move(motion, deadline)
        ticks = -(-for_us // t.TICK_US)
        if ticks < 0 or ticks >= NUMBER_TOP:
            raise Refusal("range", "for_us")
        self._run(t.TURNING, motion, speed, ticks)

    def jog(self, motion, deadline, speed):
        """Rotate while repeated."""
        self._may_move(motion, deadline)
        self._run(t.JOGGING, motion, speed, self.core.state[t.S_JOG_MS] // 2)

    def _run(self, label, motion, speed, left):
        s = self.core.state
        if s[t.LABEL] in (t.HOMING, t.STOPPING):
            raise Refusal("busy")
        ticked = speed * 256 // 500
        if abs(ticked) > s[t.S_MAX_SPEED]:
            raise Refusal("range", "speed")
        self._plans = []
        self.core.ramp(label, motion, ticked, left, t.STAY)

    def plan(self, motion, deadline, time, pieces):
        """Begin a new queue."""
        self._plan = None
        self._may_move(motion, deadline)
        if not self.core.state[t.HOMED]:
            raise Refusal("homeless")
        if pieces < 1 or time < 0 or time > t.MASK:
            raise Refusal("range")
        if pieces > PIECES_MAX:
            raise Refusal("full")
        self._plan = Plan(motion, self.core.clock() + wrapped(time - self.core.now()), pieces)

    def piece(self, index, duration, position, speed, acceleration, jerk):
        """Add a piece to the new queue."""
        if self._plan is None or index != len(self._plan.pieces) or index >= self._plan.count:
            raise Refusal("range", "index")
        if duration < 1 or duration > PIECE_US_MAX:
            raise Refusal("range", "duration_us")
        refusal = self._plan.add(duration, position, speed, acceleration, jerk)
        if refusal:
            self._plan = None
            raise Refusal(refusal)

    def bound(self, load_ma):
        """Bound the load of the new queue."""
        if self._plan is None or load_ma < 1 or load_ma > self.core.state[t.S_OVERLOAD_MA]:
            raise Refusal("range", "load_ma")
        self._plan.bound_ma = load_ma

    def go(self, motion, deadline):
        """Put the new queue in force."""
        plan = self._plan
        self._plan = None
        self._may_move(motion, deadline)
        if plan is None or plan.motion != motion or len(plan.pieces) != plan.count:
            raise Refusal("range", "pieces")
        core = self.core
        s = core.state
        if plan.start - core.clock() < START_AHEAD_US:
            raise Refusal("late")
        if s[t.MODE] == t.RAMP:
            raise Refusal("busy")
        if not plan.at_rest():
            raise Refusal("rest")
        self._check_travel(plan)
        s[t.ARG_MOTION] = motion
        s[t.ARG_BOUND] = plan.bound_ma
        s[t.ARG_INT] = (plan.end() >> 16) & t.MASK
        if s[t.EASED]:  # whatever way the lever comes, it goes on to the end of the plan
            self._plans = [(plan, 0)]
            s[t.TRACK_TOP] = max(1, pace(core, plan) >> s[t.TRACK_SHIFT])
            core.post(t.C_PLAN)
            return
        self._check_join(plan)
        used = [bank for _, bank in self._plans]
        bank = 0
        while bank in used:
            bank += 1
        time, row, end = plan.write(core.queue, bank, core.clock())
        self._plans.append((plan, bank))
        s[t.ARG_T] = time
        s[t.ARG_ROW] = row
        s[t.ARG_END] = end
        core.post(t.C_PLAN)

    def _check_join(self, plan):
        """Hold the new queue against what is in force when it starts, and forget queues that it outlives."""
        s = self.core.state
        now = self.core.clock()
        started = [entry for entry in self._plans if now >= entry[0].start][-1:]
        waiting = [entry for entry in self._plans if now < entry[0].start][-1:]
        self._plans = started + waiting
        if s[t.MODE] == t.REST:
            started = []
        before = started + [entry for entry in waiting if s[t.PENDING] and plan.start >= entry[0].start]
        if before:
            position, speed = before[-1][0].state_at(plan.start)
            joins = plan.joins(position, speed, JOIN_POSITION)
        else:
            joins = plan.joins(self.core.reference(), 0, JOIN_FROM_REST)
        if not joins:
            raise Refusal("join")

    def _check_travel(self, plan):
        s = self.core.state
        if s[t.S_ENDLESS]:
            return
        here = plan.pieces[0].position
        low = min(self.core.origin() + (s[t.S_TRAVEL_LOW] << 16), here) - WITHIN
        high = max(self.core.origin() + (s[t.S_TRAVEL_HIGH] << 16), here) + WITHIN
        if not plan.stays_within(low, high):
            raise Refusal("travel")

    def _in_time(self, deadline):
        if wrapped(deadline - self.core.now()) < 0:
            raise Refusal("late")

    def _may_move(self, motion, deadline):
        if motion < 1 or motion >= NUMBER_TOP:
            raise Refusal("range", "motion")
        self._in_time(deadline)
        s = self.core.state
        if s[t.FAULT]:
            raise Refusal("fault", CAUSES[s[t.FAULT]])
        if self.core.lead.led():
            raise Refusal("led")
        if s[t.MODE] == t.OFF:
            raise Refusal("disarmed")

    def _free(self):
        if self.core.state[t.MODE] != t.REST or self.core.state[t.PENDING]:
            raise Refusal("busy")


def _number(word):
    try:
        return int(word)
    except ValueError:
        raise Refusal("fields") from None


def _stop_fields(words):
    """Give (category, number) of a stop line; a broken one is a category 0 stop, since somebody wanted a stop."""
    try:
        return (int(words[0]), int(words[1]) % NUMBER_TOP)
    except (ValueError, IndexError):
        return (0, 0)
