"""The tick: 500 times a second, measure, move the reference, drive the bridge, guard.

Rules of this file, which the board compiles to machine code and runs in a hard timer interrupt: whole numbers only,
every intermediate within 32 bits, no allocation, no call but to functions of this file. State lives in one `array('i')`
whose slots are named below; the plan queue in a second one. The board writes the `*_IN` slots, calls `tick`, and takes
`DUTY_OUT` and `BRIDGE_OUT`. The main loop asks for a change of state only through the command slots, so that all
changes happen here, between two ticks. It is one file because the board's compiler puts the numbers named below into
the code only within the file that names them; from another they would be looked up at every use.

Positions are a count modulo 2^30 with a binary fraction of 24 or 48 places; speeds are 2^-24 count per tick and
accelerations 2^-24 count per tick squared; the estimated speed is 2^-16 count per tick. Errors are 1/256 count,
voltages mV, currents mA.
"""

from .compat import const, micropython, ptr32

TICK_US = const(2000)
MASK = const(0x3FFFFFFF)  # counts and µs are kept modulo 2^30: small integers on the board, sums of two fit 32 bits
HALF = const(0x20000000)
M24 = const(0xFFFFFF)

# --- inputs, written by the board before each tick
COUNT_IN = const(0)
HOME_IN = const(1)
SUPPLY_IN = const(2)  # mV, 0 if not measured
ILLEGAL_IN = const(3)  # illegal quadrature transitions since boot, modulo 2^30
AGE_IN = const(15)  # how long ago the newest edge of the disc came, 2^-16 tick

# --- outputs, taken by the board after each tick
DUTY_OUT = const(4)  # -10000..10000
BRIDGE_OUT = const(5)  # 0 off (coasts), 1 driven; driven with duty 0 is a short across the motor (brakes)

# --- clock and estimate
TICKS = const(6)
NOW = const(7)
COUNT = const(8)
X_INT = const(9)  # estimated position: counts
X_FRAC = const(10)  # and 1/65536
X_SPEED = const(11)
QUIET = const(12)  # ticks since the count last changed
HOME = const(13)
EDGE_INT = const(14)  # estimated position when the home mark was last entered: counts
EDGE_WAY = const(16)
EDGES = const(17)
HOMED = const(18)
ORIGIN_INT = const(19)
ORIGIN_FRAC = const(20)
AUDIT_OFF = const(21)
MARKS = const(22)
DELTA = const(23)

# --- reference
R_INT = const(24)
R_FRAC = const(25)  # upper 24 of 48 binary places
R_LOW = const(26)  # lower 24
D1_HIGH = const(27)  # change per tick: 2^-24 count
D1_LOW = const(28)
D2_HIGH = const(29)
D2_LOW = const(30)
D3_HIGH = const(31)
D3_LOW = const(32)
ROW_NEXT = const(33)  # first word of the next row of the plan queue
ROW_END = const(34)  # one past its last row
PENDING = const(35)  # a new queue waits for its start
PENDING_T = const(36)
PENDING_ROW = const(37)
PENDING_END = const(38)
PENDING_MOTION = const(39)
TARGET_SPEED = const(40)  # of a ramp
ACCEL = const(41)
JERK = const(42)
LEFT = const(43)  # ticks until a turn or a jog ends by itself; 0 never
AFTER = const(44)
SETTLED = const(45)
SETTLING = const(46)

# --- state
MODE = const(47)
LABEL = const(48)
MOTION = const(49)
ENDED = const(50)
HOW = const(51)
FAULT = const(52)
KILL = const(53)  # set by the main loop: remove drive at the next tick
BUMP = const(54)  # the lever met something while homing
SILENT = const(55)  # ticks since the last valid line
WENT_SILENT = const(56)
STOP_NUMBER = const(57)

# --- drive
VOLTS = const(58)
INTEGRAL = const(59)
CURRENT = const(60)
LOAD = const(61)
LOAD_16 = const(62)  # 16 times the filtered load
PEAK = const(63)
SQUARES = const(64)  # running sum of (current / 16)^2 / 16, modulo 2^30
DUTY = const(65)
OVER = const(66)
STALL = const(67)
WRONG = const(68)
LOW = const(69)
ILLEGAL_THEN = const(70)
ILLEGAL_TICKS = const(71)

# --- command from the main loop; COMMAND is written last and cleared by the tick
COMMAND = const(72)
ARG_MOTION = const(73)
ARG_LABEL = const(74)
ARG_SPEED = const(75)
ARG_ACCEL = const(76)
ARG_JERK = const(77)
ARG_LEFT = const(78)
ARG_AFTER = const(79)
ARG_CODE = const(80)
ARG_T = const(81)
ARG_ROW = const(82)
ARG_END = const(83)
ARG_INT = const(84)
ARG_FRAC = const(85)
EDGE_NEW = const(86)  # the home mark was entered in this tick
AUDIT_FROM = const(87)  # count at which the home edge was last known to be right

# --- settings, in the order of settings.TABLE
SET = const(88)
S_POLARITY = const(88)
S_NOMINAL_MV = const(89)
S_MAX_DUTY = const(90)
S_SLEW_MV = const(91)
S_DROP_MV = const(92)
S_SPEED_SHIFT = const(93)
S_ACCEL_SHIFT = const(94)
S_KP_NUM = const(95)
S_KP_SHIFT = const(96)
S_KI_NUM = const(97)
S_KI_SHIFT = const(98)
S_KE_NUM = const(99)
S_KE_SHIFT = const(100)
S_KA_NUM = const(101)
S_KA_SHIFT = const(102)
S_REST_DEADBAND = const(103)
S_RI_NUM = const(104)
S_RI_SHIFT = const(105)
S_KJ_NUM = const(106)
S_KJ_SHIFT = const(107)
S_FRICTION_MA = const(108)
S_RAMP_ACCEL = const(109)
S_RAMP_JERK = const(110)
S_STOP_ACCEL = const(111)
S_STOP_JERK = const(112)
S_MAX_SPEED = const(113)
S_OVERLOAD_MA = const(114)
S_OVERLOAD_MS = const(115)
S_OVERLOAD_EASE = const(116)
S_STALL_MA = const(117)
S_STALL_MS = const(118)
S_FOLLOWING = const(119)
S_WRONG_WAY = const(120)
S_ILLEGAL_MAX = const(121)
S_AUDIT = const(122)
S_SUPPLY_LOW = const(123)
S_WINDING_MAX = const(124)
S_HEAT_NUM = const(125)
S_HEAT_TAU = const(126)
S_AMBIENT = const(127)
S_ENDLESS = const(128)
S_TRAVEL_LOW = const(129)
S_TRAVEL_HIGH = const(130)
S_TRAVEL_MARGIN = const(131)
S_HOME_WAY = const(132)
S_HOME_FAST = const(133)
S_HOME_SLOW = const(134)
S_HOME_BACK = const(135)
S_HOME_SPAN = const(136)
S_HOME_DROP = const(137)
S_REST_MODE = const(138)
S_SILENCE_MS = const(139)
S_JOG_MS = const(140)
S_SETTLE_MS = const(141)
S_TURN_COUNTS = const(142)
S_DAMPING = const(143)

S_GAIN_NUM = const(144)
S_GAIN_SHIFT = const(145)
S_WATCH_NUM = const(146)
S_WATCH_SHIFT = const(147)
S_KL_NUM = const(148)
S_KL_SHIFT = const(149)
S_BACK_NUM = const(150)
S_OHM_NUM = const(151)
S_OHM_SHIFT = const(152)
S_JAM_SPEED = const(153)
S_BLOW_NUM = const(154)
S_BLOW_SHIFT = const(155)
S_DISC_EDGES = const(156)

SPEED_THEN = const(157)  # estimated speed some ticks ago
EDGE_COUNT = const(158)  # count when the home mark was last entered,
EDGE_QUIET = const(159)  # ticks that it had stood at that,
EDGE_SPAN = const(160)  # and ticks that it stood at that in all; 0 while it still does
ARG_BOUND = const(161)
PENDING_BOUND = const(162)
BOUND = const(163)  # load in mA that is an overload for the motion that runs; 0: the setting alone
OPPOSED_16 = const(164)  # 16 times what the observer takes to oppose the motor, friction apart, mA
BRAKED = const(165)  # ticks of the braking after one
BRAKE_WAY = const(166)
X_LOW = const(167)  # how far below and above the estimated position the true one may lie, 2^-16 count
X_HIGH = const(168)
X_RIGHT = const(169)  # ticks that the estimate has been right
CAP = const(170)  # load in mA that the drive may press against while it looks like a jam
SUSPECT = const(171)  # ticks that it has looked like a jam
LAG = const(172)  # 2^-16 count that the disc has been off the model lately, all in all
PHASE = const(173)  # the edge below the count's cell, among those of a turn of the disc
RAN_ON = const(174)  # 2^-16 count that the disc went beyond its model while it was braked
TO_AND_FRO = const(175)  # counts in a row each against the one before
OVERRAN_IN = const(176)  # ticks since boot that took too long, modulo 2^30; written by the board
OVERRAN_THEN = const(177)
DELTA_THEN = const(178)

# --- following the pulse: the tracker goes to the aim within speed and acceleration, and the reference is where it has been
# on average over the last TRACK_SPAN ticks, which bounds the jerk too. The tracker's unit is 2^(TRACK_SHIFT - 24) count.
SOURCE = const(179)  # who leads: 0 the host, 1 the pulse
AIM = const(180)  # count to go to
AIM_ON = const(181)  # the main loop wants it followed
AIM_AT = const(182)  # the aim that it came to rest for
TRACK_INT = const(183)  # the tracker's place: counts
TRACK_FRAC = const(184)  # and 2^-24
TRACK_SPEED = const(185)
TRACK_SUM = const(186)  # of the tracker's speeds over the span
TRACK_LEFT = const(187)  # of the division by the span, in 2^-24 count / span
TRACK_NEXT = const(188)  # word of the queue that holds the oldest of these speeds
TRACK_STILL = const(189)  # ticks that the tracker has stood at the aim
TRACK_SHIFT = const(190)
TRACK_TOP = const(191)  # highest speed
TRACK_ACCEL = const(192)
TRACK_SPAN = const(193)

# --- the disc
UNEVEN_SUM = const(194)  # of the words that follow
UNEVEN = const(195)  # where each edge lies off its place, 2^-16 count, as learned: 64 words
PLACE_THEN = const(259)  # where the newest edge but one put the disc beside the estimate, 2^-16 count
ROUGH = const(260)  # how far two edges in a row differ in that on the average: the unevenness that is not learned
USUAL = const(261)  # how far the disc has usually been off its model lately, 2^-16 count
SLIP = const(262)  # the same as LAG, but that one edge that was lost counts for a quarter
SUDDEN = const(263)  # 1: it was at speed when it began to look like a jam

# --- an overload that is eased: the reference waits for the lever, then goes on to its end as it follows a pulse's aim
MOST = const(264)  # load in mA that is an overload now: the motion's own bound, or that of the sheet
HELD = const(265)  # 1 or -1: the drive that way is all that the teeth bear
EASED = const(266)  # 1 while the lever is held up; 2 when it has been let go, until what was held up has ended
FREED = const(267)  # ticks that it has no longer been held
TRACK_READY = const(268)  # the main loop has emptied the span since
GOAL = const(269)  # count at the end of the plan in force
PENDING_GOAL = const(270)
WENT = const(271)  # way of the count's last change
BACK = const(272)  # back-EMF at the estimated speed, mV
HASTE = const(273)  # how quickly what is stuck beside its aim is pushed on
PULL = const(
    274
)  # what the observer takes to oppose the motor's shaft, friction and the reference's own acceleration apart, mA
WORDS = const(275)

# --- a row of the plan queue: the reference at one tick, and its differences
ROW_T = const(0)
ROW_WORDS = const(10)
BANK_ROWS = const(34)  # 32 pieces, the row of rest, one spare
BANK_WORDS = const(340)
QUEUE_WORDS = const(1020)  # three banks: one in force, one that waits for its start, one being written

# --- MODE
OFF = const(0)
REST = const(1)
PLAN = const(2)
RAMP = const(3)
FOLLOW = const(4)
EASE = const(6)  # the lever is held up by more than the teeth bear: the reference waits
BRAKE = const(5)  # against a sudden jam: the rotor is stopped before it winds the train up, then drive is removed

# --- LABEL: the state shown
DISARMED = const(0)
READY = const(1)
MOVING = const(2)
HOMING = const(3)
TURNING = const(4)
JOGGING = const(5)
STOPPING = const(6)
FAULTED = const(7)

# --- AFTER: what follows a ramp that has come to rest
STAY = const(0)
REMOVE = const(1)
PAUSE = const(2)  # homing goes on from here

# --- HOW a motion ended
NONE = const(0)
DONE = const(1)
REPLACED = const(2)
STOPPED = const(3)
BY_FAULT = const(4)

# --- COMMAND
C_ARM = const(1)
C_DISARM = const(2)
C_RESET = const(3)
C_PLAN = const(4)
C_RAMP = const(5)
C_STOP = const(6)
C_FAULT = const(7)
C_HOMED = const(8)
C_HELLO = const(9)

# --- FAULT
OVERLOAD = const(1)
STALLED = const(2)
WRONG_DIRECTION = const(3)
SENSOR_ERROR = const(4)
FOLLOWING_ERROR = const(5)
TRAVEL = const(6)
HOST_SILENT = const(7)
SUPPLY_LOW = const(8)
TOO_HOT = const(9)
HOME_NOT_FOUND = const(10)
OVERRUN = const(11)

SETTLE_TICKS = const(20)  # 40 ms in the target's cell is at rest: longer than one swing of the lever on its train
HELD_TICKS = const(5)  # without a count, and friction holds it
NEAR = const(256)  # 1/256 count: within one it is held too, though the count may go to and fro over an edge
V_STUCK = const(65535)  # mV of friction: a sixteenth of it is pushed more in each tick for a count away,
HASTE_TOP = const(48)  # or so many sixteenths of that where it stands and must turn back,
HASTE_LEAST = const(8)  # and half of that at each turn from standing, as far as this
LOW_TICKS = const(50)  # 100 ms: longer than the dip of a starting motor
SECOND_TICKS = const(500)
MOVING_SPEED = const(1024)  # 2^-16 count per tick (8 counts/s): below it the sense of motion is not known
V_TOP = const(
    524287
)  # what a gain of 4095 can take within 32 bits; the settings make V fit 17 bits, a wild count does not
A_TOP = const(65535)
MV_TOP = const(200000)  # of back-EMF, and of feed-forward; no supply comes near it
MA_TOP = const(700000)  # of current: its square, after the shift in SQUARES, fits 32 bits
JAM_TOP = const(30000)  # mA: two squares of it fit 32 bits
REVERSE_TICKS = const(20)  # 40 ms of braking by reversed drive at most
BRAKE_TICKS = const(60)  # and of it and the short after it, in all
PUSH_TOP = const(262143)  # mA: what a gain of 4095 can take within 32 bits
MISS_TOP = const(262143)  # 2^-16 count: four counts, the same
OPPOSED_TOP = const(1120000)  # 1/16 mA
UNSURE_GROWS = const(655)  # 2^-16 count: a hundredth a tick, what a load may do to the speed
RIGHT_TOP = const(60)  # ticks
RIGHT_LEAST = const(3)  # ticks that a miss is put down to at least
LEARNING_SPEED = const(6553)  # 2^-16 count per tick: a tenth
LEARNING = const(5)  # a thirty-second of what an edge is off goes into its place
PLACE_TOP = const(32768)  # 2^-16 count: half of one
TIMED_OFF = const(1000)  # 2^-16 count: what the timed place of an even disc's edge may be off
ROUGH_TOP = const(16384)  # 2^-16 count: a quarter, what is thought of a disc that is new
USUAL_TOP = const(26214)  # 2^-16 count: 0.4
SLIP_TOP = const(16384)  # 2^-16 count: a quarter, of a miss
BEHIND = const(2621)  # 2^-16 count: behind by less than 0.04 is nothing
DREAD = const(
    8192
)  # 2^-16 count: behind by an eighth is enough where the blow would have twice the energy of an overload
CLEARED = const(3277)  # 2^-16 count: behind by less than a twentieth it is over
LOST = const(36000)  # 2^-16 count: behind by less than an edge it may be a jam, and is driven with care
JAM = const(79000)  # by more than one that was lost, it is one
TO_AND_FRO_TOP = const(8)
OVERRUNS_MAX = const(3)  # in a second
STUCK_TICKS = const(10)  # without a count while none is wanted
TIMED_TOP = const(100000)  # ticks up to which an overload is timed; the setting is far below
CREEP = const(2)  # counts that the lever may creep at rest before it is brought back to the aim, as far as a plan joins
EASE_LAG = const(8)  # counts that the reference may be ahead of a lever that is held up
FREED_TICKS = const(10)  # 20 ms without being held, and it goes on
STEPS_TOP = const(
    15000
)  # ticks in which the tracker stops from its highest speed, at most: the square of twice that fits
TICK_AGE = const(65536)  # 2^-16 tick: an edge that is older did not come in this one
SPEED_TOP = const(4194303)  # 2^-16 count per tick: 64 counts a tick, what the 2^-24 scale can hold


@micropython.viper
def tick(state, queue):
    """Do one tick: `state` is array('i') of WORDS, `queue` array('i') of QUEUE_WORDS."""
    _measure(state)
    _obey(state)
    _refer(state, queue)
    _drive(state)
    _guard(state)


@micropython.viper
def _measure(state):
    """Advance the clock, take the inputs, estimate position and speed, watch the home mark."""
    s = ptr32(state)
    s[TICKS] = (s[TICKS] + 1) & MASK
    s[NOW] = (s[NOW] + TICK_US) & MASK
    s[SILENT] = s[SILENT] + 1 if s[SILENT] < SECOND_TICKS else SECOND_TICKS
    count = s[COUNT_IN] & MASK
    delta = ((count - s[COUNT] + HALF) & MASK) - HALF
    s[DELTA] = delta
    s[COUNT] = count
    if delta:
        way = 1 if delta > 0 else -1
        if way != s[WENT]:
            s[WENT] = way
            if s[HASTE] > HASTE_LEAST and s[QUIET] >= HELD_TICKS:
                s[HASTE] = s[HASTE] >> 1
        if s[EDGE_SPAN] == 0:
            s[EDGE_SPAN] = s[QUIET] + 1
        s[QUIET] = 0
    elif s[QUIET] < 100000:
        s[QUIET] = s[QUIET] + 1
    # the estimate runs on by the motor model and is corrected only by what lies outside the cell that the count stands for
    speed = s[X_SPEED]
    if s[D1_HIGH] == 0 and s[QUIET] >= STUCK_TICKS:  # friction holds it, whatever the model says
        speed = 0
        load = s[OPPOSED_16] >> 4
        low = s[CURRENT] - s[S_FRICTION_MA]
        low = PUSH_TOP if low > PUSH_TOP else (0 - PUSH_TOP if low < 0 - PUSH_TOP else low)
        if low < 0:
            low = (low * s[S_BACK_NUM]) >> 8
        high = s[CURRENT] + s[S_FRICTION_MA]
        high = PUSH_TOP if high > PUSH_TOP else (0 - PUSH_TOP if high < 0 - PUSH_TOP else high)
        if high > 0:
            high = (high * s[S_BACK_NUM]) >> 8
        if load < low:
            s[OPPOSED_16] = s[OPPOSED_16] + low - load
        elif load > high:
            s[OPPOSED_16] = s[OPPOSED_16] + high - load
        s[PULL] = s[LOAD]
    else:
        accel = s[D2_HIGH] >> s[S_ACCEL_SHIFT]
        accel = A_TOP if accel > A_TOP else (0 - A_TOP if accel < 0 - A_TOP else accel)
        swing = (accel * s[S_KL_NUM]) >> s[S_KL_SHIFT]
        load = (s[OPPOSED_16] >> 4) + swing
        load = PUSH_TOP if load > PUSH_TOP else (0 - PUSH_TOP if load < 0 - PUSH_TOP else load)
        way = s[D1_HIGH]
        if way == 0:
            way = speed
        if (load > 0 and way < 0) or (load < 0 and way > 0):
            load = (load << 8) // s[S_BACK_NUM]  # the load drives, and loses on its way to the motor
        s[PULL] = load - swing
        push = s[CURRENT] - load
        if speed > MOVING_SPEED:
            push = push - s[S_FRICTION_MA]
        elif speed < 0 - MOVING_SPEED:
            push = push + s[S_FRICTION_MA]
        elif push > s[S_FRICTION_MA]:
            push = push - s[S_FRICTION_MA]
        elif push < 0 - s[S_FRICTION_MA]:
            push = push + s[S_FRICTION_MA]
        else:
            push = 0
        push = PUSH_TOP if push > PUSH_TOP else (0 - PUSH_TOP if push < 0 - PUSH_TOP else push)
        speed = speed + ((push * s[S_GAIN_NUM]) >> s[S_GAIN_SHIFT])
    frac = s[X_FRAC] + speed
    whole = s[X_INT] + (frac >> 16)
    frac = frac & 0xFFFF
    off = ((count - whole + HALF) & MASK) - HALF
    if off > 1000 or off < -1000:
        whole = count
        frac = 0x8000
        off = 0
    # how far it may be off grows from tick to tick, and ends where the count's cell ends
    low = s[X_LOW] - UNSURE_GROWS
    high = s[X_HIGH] + UNSURE_GROWS
    bottom = (off << 16) - frac
    top = bottom + 0x10000
    edges = s[S_DISC_EDGES]
    phase = 0
    after = 0
    if edges:
        phase = (s[PHASE] + delta) % edges
        s[PHASE] = phase
        after = phase + 1 if phase + 1 < edges else 0
        # all of them off alike would be the count's own place
        mean = s[UNEVEN_SUM] // edges
        bottom = bottom + s[UNEVEN + phase] - mean
        top = top + s[UNEVEN + after] - mean
    age = s[AGE_IN]
    if age < TICK_AGE and ((delta > 0 and speed > 0) or (delta < 0 and speed < 0)):
        # the newest edge, and the way that the disc has gone since, say where it is; as well as the edges' places are known
        place = (((speed >> 6) * (age >> 8)) >> 2) + (bottom if delta > 0 else top)
        place = PLACE_TOP if place > PLACE_TOP else (0 - PLACE_TOP if place < 0 - PLACE_TOP else place)
        size = place - s[PLACE_THEN]
        size = size if size > 0 else 0 - size
        s[PLACE_THEN] = place
        rough = s[ROUGH] + ((size - s[ROUGH]) >> 5)
        s[ROUGH] = rough
        rough = TIMED_OFF + rough + (rough >> 2)
        if edges and (speed > LEARNING_SPEED or speed < 0 - LEARNING_SPEED):
            edge = UNEVEN + (phase if delta > 0 else after)
            seen = 0 - (place >> LEARNING) - (s[edge] >> 10)
            s[edge] = s[edge] + seen
            s[UNEVEN_SUM] = s[UNEVEN_SUM] + seen
        size = place + rough
        if top > size:
            top = size if size > bottom else bottom
        size = place - rough
        if bottom < size:
            bottom = size if size < top else top
    if low < bottom:
        low = bottom
    if high > top:
        high = top
    if low > high:
        if low > top:
            low = top
        high = low
    miss = low if low > 0 else (high if high < 0 else 0)
    s[X_LOW] = low - miss
    s[X_HIGH] = high - miss
    frac = frac + miss
    # the more ticks it was right before, the less each of them can be blamed for the miss
    ticks = s[X_RIGHT] + RIGHT_LEAST
    if miss:
        s[X_RIGHT] = 0
    elif s[X_RIGHT] < RIGHT_TOP:
        s[X_RIGHT] = s[X_RIGHT] + 1
    s[LAG] = s[LAG] - (s[LAG] >> 3) + miss
    s[SLIP] = (
        s[SLIP] - (s[SLIP] >> 3) + (SLIP_TOP if miss > SLIP_TOP else (0 - SLIP_TOP if miss < 0 - SLIP_TOP else miss))
    )
    if s[CAP] < 0 and s[BRAKED] < REVERSE_TICKS and delta:
        ran = miss * s[BRAKE_WAY]
        if ran > 0 and delta * s[BRAKE_WAY] > 0:
            s[RAN_ON] = s[RAN_ON] + ran
    speed = speed + miss // ticks
    close = MISS_TOP if miss > MISS_TOP else (0 - MISS_TOP if miss < 0 - MISS_TOP else miss)
    close = (close * s[S_WATCH_NUM]) >> s[S_WATCH_SHIFT]
    close = OPPOSED_TOP if close > OPPOSED_TOP else (0 - OPPOSED_TOP if close < 0 - OPPOSED_TOP else close)
    opposed = s[OPPOSED_16] - close * 16 // (ticks * ticks)
    s[OPPOSED_16] = (
        OPPOSED_TOP if opposed > OPPOSED_TOP else (0 - OPPOSED_TOP if opposed < 0 - OPPOSED_TOP else opposed)
    )
    # no edge for n ticks means at most a cell in n ticks; twice that, since magnets are uneven
    top = SPEED_TOP
    if s[QUIET] > 1:
        top = 0x20000 // s[QUIET]
    if speed > top:
        speed = top
    if speed < 0 - top:
        speed = 0 - top
    s[X_INT] = (whole + (frac >> 16)) & MASK
    s[X_FRAC] = frac & 0xFFFF
    s[X_SPEED] = speed
    mark = s[HOME_IN]
    if mark != s[HOME]:
        s[HOME] = mark
        if mark:
            s[EDGE_INT] = s[X_INT]
            s[EDGE_COUNT] = count
            s[EDGE_QUIET] = s[QUIET]
            s[EDGE_SPAN] = 0
            s[EDGE_WAY] = s[WENT] if speed * s[WENT] > MOVING_SPEED else 0  # an estimate alone may be noise
            s[EDGES] = (s[EDGES] + 1) & MASK
            s[EDGE_NEW] = 1


@micropython.viper
def _obey(state):
    """Carry out the command of the main loop, and a stop that cannot wait."""
    s = ptr32(state)
    command = s[COMMAND]
    s[COMMAND] = 0
    if s[KILL]:
        s[KILL] = 0
        _remove(state, STOPPED)
        if command == C_PLAN or command == C_RAMP:
            s[ENDED] = s[ARG_MOTION]
            s[HOW] = STOPPED
        return
    if command == 0:
        return
    if command == C_ARM:
        if s[FAULT] == 0 and s[MODE] == OFF:
            s[SILENT] = 0
            s[INTEGRAL] = 0
            _to_rest(state)
    elif command == C_DISARM:
        _remove(state, STOPPED)
    elif command == C_HELLO:
        _remove(state, STOPPED)
        if s[FAULT] == HOST_SILENT:  # the silence is over, and the servo is disarmed anyway
            s[FAULT] = 0
            s[LABEL] = DISARMED
    elif command == C_RESET:
        s[FAULT] = 0
        if s[MODE] == OFF:
            s[LABEL] = DISARMED
    elif s[MODE] == BRAKE:
        return  # it ends by itself, with drive removed
    elif command == C_FAULT:
        if s[MODE] != OFF:
            _fault(state, s[ARG_CODE], 1)
    elif command == C_HOMED:
        s[ORIGIN_INT] = s[ARG_INT]
        s[ORIGIN_FRAC] = s[ARG_FRAC]
        s[AUDIT_FROM] = s[ARG_INT]
        s[HOMED] = 1
        _end(state, DONE)
        _to_rest(state)
    elif command == C_STOP:
        if s[MODE] != OFF:
            after = s[ARG_AFTER]
            if s[FAULT] or (s[LABEL] == STOPPING and s[AFTER] == REMOVE):
                after = REMOVE  # a stop that is under way is never softened
            _end(state, STOPPED)
            s[AIM_ON] = 0
            _ramp_to(state, 0, s[S_STOP_ACCEL], s[S_STOP_JERK])
            s[LABEL] = STOPPING
            s[AFTER] = after
    elif s[MODE] == OFF:
        # a motion whose drive was taken away between its acceptance and this tick
        s[ENDED] = s[ARG_MOTION]
        s[HOW] = BY_FAULT if s[FAULT] else STOPPED
    elif command == C_PLAN and s[EASED] and s[MODE] != REST:
        # whatever way it has come, it goes on to the new end
        _begin(state, s[ARG_MOTION])
        s[BOUND] = s[ARG_BOUND]
        s[AIM] = s[ARG_INT]
        s[LABEL] = MOVING
    elif command == C_PLAN:
        if s[PENDING]:
            if s[PENDING_MOTION] != s[ARG_MOTION] and s[PENDING_MOTION] != s[MOTION]:
                s[ENDED] = s[PENDING_MOTION]
                s[HOW] = REPLACED
        s[PENDING_T] = s[ARG_T]
        s[PENDING_ROW] = s[ARG_ROW]
        s[PENDING_END] = s[ARG_END]
        s[PENDING_MOTION] = s[ARG_MOTION]
        s[PENDING_BOUND] = s[ARG_BOUND]
        s[PENDING_GOAL] = s[ARG_INT]
        s[PENDING] = 1
    elif command == C_RAMP:
        _begin(state, s[ARG_MOTION])
        _ramp_to(state, s[ARG_SPEED], s[ARG_ACCEL], s[ARG_JERK])
        s[LABEL] = s[ARG_LABEL]
        s[LEFT] = s[ARG_LEFT]
        s[AFTER] = s[ARG_AFTER]


@micropython.viper
def _begin(state, motion):
    """Make `motion` the one that runs; another that ran ends as replaced."""
    s = ptr32(state)
    number = int(motion)
    s[BOUND] = 0
    if s[MOTION] != number:
        _end(state, REPLACED)
        s[MOTION] = number
        s[PEAK] = 0


@micropython.viper
def _end(state, how):
    """End the motion that runs, if one does; a queue that waits for its start ends with it."""
    s = ptr32(state)
    if s[PENDING]:
        if int(how) != REPLACED:
            s[PENDING] = 0
            if s[MOTION] == 0:
                s[MOTION] = s[PENDING_MOTION]
    if s[MOTION]:
        s[ENDED] = s[MOTION]
        s[HOW] = int(how)
        s[MOTION] = 0


@micropython.viper
def _ramp_to(state, speed, accel, jerk):
    """Begin a ramp towards `speed` from the reference as it moves now."""
    s = ptr32(state)
    if s[MODE] == REST:
        s[D1_HIGH] = 0
        s[D2_HIGH] = 0
    elif s[EASED] and s[D1_HIGH] == 0:
        _let_go(state)
    s[EASED] = 0
    top = int(accel)
    if s[D2_HIGH] > top:
        s[D2_HIGH] = top
    if s[D2_HIGH] < 0 - top:
        s[D2_HIGH] = 0 - top
    s[MODE] = RAMP
    s[TARGET_SPEED] = int(speed)
    s[ACCEL] = top
    s[JERK] = int(jerk)
    s[LEFT] = 0
    s[PENDING] = 0


@micropython.viper
def _to_rest(state):
    """Armed and at rest: the reference is where the lever stands, or stays where it is if it is to be held."""
    s = ptr32(state)
    if s[MODE] == OFF or s[S_REST_MODE] != 1:
        s[R_INT] = s[COUNT]
        s[R_FRAC] = 0x800000
    s[R_LOW] = 0
    s[D1_HIGH] = 0
    s[D1_LOW] = 0
    s[D2_HIGH] = 0
    s[D2_LOW] = 0
    s[D3_HIGH] = 0
    s[D3_LOW] = 0
    s[MODE] = REST
    s[LABEL] = READY
    s[EASED] = 0
    s[OVER] = 0
    s[STALL] = 0
    s[WRONG] = 0


@micropython.viper
def _remove(state, how):
    """Take drive away at once."""
    s = ptr32(state)
    _end(state, how)
    s[MODE] = OFF
    s[AIM_ON] = 0
    s[EASED] = 0
    s[LABEL] = FAULTED if s[FAULT] else DISARMED
    s[PENDING] = 0
    s[BRIDGE_OUT] = 0
    s[DUTY_OUT] = 0
    s[VOLTS] = 0
    s[INTEGRAL] = 0
    s[D1_HIGH] = 0
    s[D1_LOW] = 0
    s[D2_HIGH] = 0
    s[D2_LOW] = 0


@micropython.viper
def _fault(state, code, category):
    """Stop by itself: category 0 takes drive away, 1 ramps down first."""
    s = ptr32(state)
    s[FAULT] = int(code)
    if int(category) == 0:
        _remove(state, BY_FAULT)
    else:
        _end(state, BY_FAULT)
        s[AIM_ON] = 0
        _ramp_to(state, 0, s[S_STOP_ACCEL], s[S_STOP_JERK])
        s[LABEL] = STOPPING
        s[AFTER] = REMOVE


@micropython.viper
def _refer(state, queue):
    """Move the reference on by one tick."""
    s = ptr32(state)
    if s[MODE] == OFF or s[MODE] == BRAKE:
        s[R_INT] = s[COUNT]
        s[R_FRAC] = 0x800000
        return
    if s[HELD] and s[S_OVERLOAD_EASE]:
        _wait(state)
    if s[PENDING]:
        if ((s[NOW] - s[PENDING_T] + HALF) & MASK) - HALF >= 0:
            s[PENDING] = 0
            _begin(state, s[PENDING_MOTION])
            s[BOUND] = s[PENDING_BOUND]
            s[ROW_NEXT] = s[PENDING_ROW]
            s[ROW_END] = s[PENDING_END]
            s[GOAL] = s[PENDING_GOAL]
            s[SETTLED] = 0
            s[SETTLING] = 0
            s[MODE] = PLAN
            s[LABEL] = MOVING
    if s[MODE] == REST and s[AIM_ON]:
        off = ((s[AIM] - s[COUNT] + HALF) & MASK) - HALF
        if s[AIM] != s[AIM_AT] or off > CREEP or off < 0 - CREEP:
            _set_out(state)
    if s[MODE] == PLAN:
        _follow(state, queue)
    elif s[MODE] == RAMP:
        if s[EASED]:
            s[FREED] = 0 if s[HELD] else s[FREED] + 1
            if s[FREED] >= FREED_TICKS or s[LEFT] == 1:
                _let_go(state)
        _ramp(state)
    elif s[MODE] == FOLLOW:
        _track(state)
        _smooth(state, queue)
    elif s[MODE] == EASE:
        s[FREED] = 0 if s[HELD] else s[FREED] + 1
        if s[FREED] >= FREED_TICKS and s[TRACK_READY]:
            _set_out(state)
    elif s[S_REST_MODE] != 1:
        s[R_INT] = s[COUNT]
        s[R_FRAC] = 0x800000
    bound = s[BOUND]
    s[MOST] = bound if bound > 0 and bound < s[S_OVERLOAD_MA] else s[S_OVERLOAD_MA]


@micropython.viper
def _wait(state):
    """The drive is all that the teeth bear: keep the reference near the lever, and remember where it was to go."""
    s = ptr32(state)
    way = s[HELD]
    mode = s[MODE]
    if (((s[R_INT] - s[COUNT] + HALF) & MASK) - HALF) * way <= EASE_LAG:
        return
    if mode == RAMP:
        if s[LABEL] == HOMING or s[LABEL] == STOPPING:
            return
    elif mode != EASE:
        if mode == PLAN:
            s[AIM] = s[GOAL]
        elif mode == REST and s[AIM_ON] == 0:
            s[AIM] = s[R_INT]
        if s[PENDING]:
            s[PENDING] = 0
            s[AIM] = s[PENDING_GOAL]
            _begin(state, s[PENDING_MOTION])
            s[BOUND] = s[PENDING_BOUND]
        s[MODE] = EASE
        s[TRACK_READY] = 0
    s[EASED] = 1
    s[FREED] = 0
    s[R_INT] = (s[COUNT] + way * EASE_LAG) & MASK
    i = D1_HIGH
    while i <= D3_LOW:
        s[i] = 0
        i += 1


@micropython.viper
def _let_go(state):
    """Press no longer on what holds the lever up."""
    s = ptr32(state)
    s[R_INT] = s[COUNT]
    s[R_FRAC] = 0x800000
    s[OPPOSED_16] = 0
    s[INTEGRAL] = 0
    s[EASED] = 0


@micropython.viper
def _follow(state, queue):
    """Take the next row of the queue when its tick has come, else add the differences; settle after the last."""
    s = ptr32(state)
    q = ptr32(queue)
    row = s[ROW_NEXT]
    if row < s[ROW_END]:
        if ((s[NOW] - q[row] + HALF) & MASK) - HALF >= 0:
            i = 0
            while i < 9:
                s[R_INT + i] = q[row + 1 + i]
                i += 1
            s[ROW_NEXT] = row + ROW_WORDS
            return
        low = s[R_LOW] + s[D1_LOW]
        frac = s[R_FRAC] + s[D1_HIGH] + (low >> 24)
        s[R_LOW] = low & M24
        s[R_FRAC] = frac & M24
        s[R_INT] = (s[R_INT] + (frac >> 24)) & MASK
        low = s[D1_LOW] + s[D2_LOW]
        s[D1_LOW] = low & M24
        s[D1_HIGH] = s[D1_HIGH] + s[D2_HIGH] + (low >> 24)
        low = s[D2_LOW] + s[D3_LOW]
        s[D2_LOW] = low & M24
        s[D2_HIGH] = s[D2_HIGH] + s[D3_HIGH] + (low >> 24)
        return
    _settle(state)


@micropython.viper
def _settle(state):
    """The reference has arrived: give the lever time to stand in its cell, then come to rest."""
    s = ptr32(state)
    s[SETTLING] = s[SETTLING] + 1
    s[SETTLED] = s[SETTLED] + 1 if s[COUNT] == s[R_INT] else 0
    if s[SETTLED] >= SETTLE_TICKS or s[SETTLING] * 2 >= s[S_SETTLE_MS]:
        _end(state, DONE)
        _to_rest(state)


@micropython.viper
def _set_out(state):
    """Begin to follow the aim, from rest; the main loop has emptied the span."""
    s = ptr32(state)
    s[MODE] = FOLLOW
    s[LABEL] = MOVING
    s[TRACK_INT] = s[R_INT]
    s[TRACK_FRAC] = (s[R_FRAC] >> s[TRACK_SHIFT]) << s[TRACK_SHIFT]
    s[TRACK_SPEED] = 0
    s[TRACK_SUM] = 0
    s[TRACK_LEFT] = 0
    s[TRACK_NEXT] = 0
    s[TRACK_STILL] = 0
    s[SETTLING] = 0
    s[SETTLED] = 0
    s[TRACK_READY] = 0
    if s[EASED]:
        s[EASED] = 2


@micropython.viper
def _track(state):
    """Move the tracker by a tick, as fast as it may and can still stop at the aim, in the middle of the aim's cell."""
    s = ptr32(state)
    shift = s[TRACK_SHIFT]
    accel = s[TRACK_ACCEL]
    top = s[TRACK_TOP]
    speed = s[TRACK_SPEED]
    off = ((s[AIM] - s[TRACK_INT] + HALF) & MASK) - HALF
    far = 32 << shift  # counts that are 2^29 of the tracker's units; farther away it goes at full speed anyway
    off = far if off > far else (0 - far if off < 0 - far else off)
    off = (off << (24 - shift)) + ((0x800000 - s[TRACK_FRAC]) >> shift)
    way = off if off > 0 else 0 - off
    # stopping from the speed v takes n = v / accel ticks and n * v - accel * n * (n + 1) / 2 units after this one
    wanted = top
    ratio = way // accel
    most = top // accel + 1
    if ratio < (most * (most + 1)) >> 1:
        square = 8 * ratio + 1
        root = 0
        bit = 1 << 14
        while bit:
            if (root + bit) * (root + bit) <= square:
                root = root + bit
            bit = bit >> 1
        steps = (root - 1) >> 1
        wanted = (way + accel * ((steps * (steps + 1)) >> 1)) // (steps + 1)
        wanted = top if wanted > top else wanted
    if off < 0:
        wanted = 0 - wanted
    high = speed + accel
    low = speed - accel
    wanted = high if wanted > high else (low if wanted < low else wanted)
    frac = s[TRACK_FRAC] + (wanted << shift)
    s[TRACK_FRAC] = frac & M24
    s[TRACK_INT] = (s[TRACK_INT] + (frac >> 24)) & MASK
    s[TRACK_SPEED] = wanted
    s[TRACK_STILL] = s[TRACK_STILL] + 1 if off == 0 and wanted == 0 else 0


@micropython.viper
def _smooth(state, queue):
    """Move the reference by the mean of the tracker's speeds over the span; settle when all of them are nothing."""
    s = ptr32(state)
    q = ptr32(queue)
    span = s[TRACK_SPAN]
    word = s[TRACK_NEXT]
    total = s[TRACK_SUM] + s[TRACK_SPEED] - q[word]
    q[word] = s[TRACK_SPEED]
    s[TRACK_SUM] = total
    s[TRACK_NEXT] = word + 1 if word + 1 < span else 0
    # the mean in whole 2^-24 count: what the division leaves goes into the next tick, so that nothing is ever lost
    mean = total // span
    rest = ((total - mean * span) << s[TRACK_SHIFT]) + s[TRACK_LEFT]
    part = rest // span
    s[TRACK_LEFT] = rest - part * span
    speed = (mean << s[TRACK_SHIFT]) + part
    s[D2_HIGH] = speed - s[D1_HIGH]
    s[D1_HIGH] = speed
    frac = s[R_FRAC] + speed
    s[R_FRAC] = frac & M24
    s[R_INT] = (s[R_INT] + (frac >> 24)) & MASK
    if s[TRACK_STILL] > span:
        s[TRACK_STILL] = span + 1
        s[AIM_AT] = s[AIM]
        _settle(state)
    else:
        s[SETTLING] = 0
        s[SETTLED] = 0


@micropython.viper
def _ramp(state):
    """Bring the reference's speed to the target within the ramp's acceleration and jerk."""
    s = ptr32(state)
    if s[LEFT]:
        s[LEFT] = s[LEFT] - 1
        if s[LEFT] == 0:
            s[TARGET_SPEED] = 0
    if s[EASED]:
        return
    accel = s[D2_HIGH]
    jerk = s[JERK]
    short = s[TARGET_SPEED] - s[D1_HIGH]
    size = accel if accel > 0 else 0 - accel
    need = (size * (size // jerk + 1)) >> 1  # the change of speed while the acceleration goes back to nothing
    if accel <= 0:
        need = 0 - need
    gap = short if short > 0 else 0 - short
    if gap <= size + jerk and size <= jerk + jerk:
        s[D1_HIGH] = s[TARGET_SPEED]
        accel = 0
    elif short > need:
        accel = accel + jerk
        if accel > s[ACCEL]:
            accel = s[ACCEL]
    else:
        accel = accel - jerk
        if accel < 0 - s[ACCEL]:
            accel = 0 - s[ACCEL]
    s[D2_HIGH] = accel
    s[D1_HIGH] = s[D1_HIGH] + accel
    frac = s[R_FRAC] + s[D1_HIGH]
    s[R_FRAC] = frac & M24
    s[R_INT] = (s[R_INT] + (frac >> 24)) & MASK
    if s[TARGET_SPEED] == 0 and s[D1_HIGH] == 0 and accel == 0:
        if s[AFTER] == REMOVE:
            _remove(state, STOPPED)
        elif s[AFTER] == STAY:
            _end(state, DONE)
            _to_rest(state)


@micropython.viper
def _drive(state):
    """Work out the drive voltage that follows the reference, bound it by the motor model, set the bridge."""
    s = ptr32(state)
    v = (s[X_SPEED] << 8) >> s[S_SPEED_SHIFT]
    v = V_TOP if v > V_TOP else (0 - V_TOP if v < 0 - V_TOP else v)
    back = (v * s[S_KE_NUM]) >> s[S_KE_SHIFT]
    back = MV_TOP if back > MV_TOP else (0 - MV_TOP if back < 0 - MV_TOP else back)
    s[BACK] = back
    supply = s[SUPPLY_IN] if s[SUPPLY_IN] > 0 else s[S_NOMINAL_MV]
    volts = 0
    bridge = 1
    s[HELD] = 0
    accel = s[D2_HIGH] >> s[S_ACCEL_SHIFT]
    accel = A_TOP if accel > A_TOP else (0 - A_TOP if accel < 0 - A_TOP else accel)
    rotor = (accel * s[S_KJ_NUM]) >> s[S_KJ_SHIFT]
    if s[MODE] == OFF or (s[MODE] == REST and s[S_REST_MODE] == 2):
        bridge = 0
    elif s[MODE] == BRAKE:
        volts = int(_reverse(state))
    elif s[MODE] != REST or s[S_REST_MODE] == 1:
        speed = s[D1_HIGH]
        if speed:
            away = ((s[R_INT] - s[X_INT] + HALF) & MASK) - HALF
            away = 1000 if away > 1000 else (-1000 if away < -1000 else away)
            error = (away << 8) + (s[R_FRAC] >> 16) - (s[X_FRAC] >> 8)
        else:
            # at its end the error is what lies between the reference and the cell that the count stands for
            away = ((s[R_INT] - s[COUNT] + HALF) & MASK) - HALF
            away = 1000 if away > 1000 else (-1000 if away < -1000 else away)
            error = (away << 8) + (s[R_FRAC] >> 16)
            if error > 255:
                error = error - 255
            elif error >= 0:
                error = 0
        if s[MODE] == REST and error <= s[S_REST_DEADBAND] and error >= 0 - s[S_REST_DEADBAND]:
            error = 0
        v = speed >> s[S_SPEED_SHIFT]
        v = V_TOP if v > V_TOP else (0 - V_TOP if v < 0 - V_TOP else v)
        ahead = (v * s[S_KE_NUM]) >> s[S_KE_SHIFT]
        ahead = MV_TOP if ahead > MV_TOP else (0 - MV_TOP if ahead < 0 - MV_TOP else ahead)
        ahead = ahead + (((ahead - back) * s[S_DAMPING]) >> 8)
        ahead = ahead + ((accel * s[S_KA_NUM]) >> s[S_KA_SHIFT])
        # friction is against the reference's motion; at its end, against what is left of the way
        friction = (s[S_FRICTION_MA] * s[S_OHM_NUM]) >> s[S_OHM_SHIFT]
        if speed > 0 or (speed == 0 and error > 0):
            ahead = ahead + friction
        elif speed < 0 or error < 0:
            ahead = ahead - friction
        pressing = s[MODE] == EASE or (s[MODE] == RAMP and s[EASED])
        if speed or pressing:
            s[HASTE] = HASTE_TOP
            push = s[PULL]
            push = PUSH_TOP if push > PUSH_TOP else (0 - PUSH_TOP if push < 0 - PUSH_TOP else push)
            push = (push * s[S_OHM_NUM]) >> s[S_OHM_SHIFT]
            top = s[S_NOMINAL_MV]
            s[INTEGRAL] = (top if push > top else (0 - top if push < 0 - top else push)) << 12
        volts = ahead + ((error * s[S_KP_NUM]) >> s[S_KP_SHIFT]) + (s[INTEGRAL] >> 12)
        # the slew limit first, the current limit last: in a jam the drive must be free to fall at once
        step = s[VOLTS] + s[S_SLEW_MV]
        volts = step if volts > step else volts
        step = s[VOLTS] - s[S_SLEW_MV]
        volts = step if volts < step else volts
        drop = int(_drop(state, rotor))
        top = (supply * s[S_MAX_DUTY]) // 10000
        high = back + drop if back + drop < top else top
        low = back - drop if back - drop > 0 - top else 0 - top
        free = 1
        if volts > high:
            volts = high
            free = 0 if error > 0 else 1
            if high < top and error > 0:
                s[HELD] = 1
        if volts < low:
            volts = low
            free = 0 if error < 0 else 1
            if low > 0 - top and error < 0:
                s[HELD] = -1
        if free and speed == 0 and not pressing:  # no integration against a bound: it would have to be undone later
            more = (error * s[S_KI_NUM]) >> s[S_KI_SHIFT]
            top = s[S_NOMINAL_MV] << 12
            more = top if more > top else (0 - top if more < 0 - top else more)
            stands = s[QUIET] >= HELD_TICKS
            most = friction if friction < V_STUCK else V_STUCK
            ending = (s[MODE] == PLAN or s[MODE] == FOLLOW) and s[SETTLING] > 0
            if ending and error == 0 and s[QUIET] == 0:
                # what pushed it on against friction would let it creep through the cell that it has come to
                more = 0 - s[WENT] * (most << 11)
            elif ending and (stands or (error <= NEAR and error >= 0 - NEAR)):
                # held, it cannot overshoot by it, only break loose sooner; where it must turn back all of the friction turns round
                size = NEAR if error > NEAR else (0 - NEAR if error < 0 - NEAR else error)
                size = size * most
                haste = s[HASTE]
                if haste > 16 and not (stands and error * s[WENT] < 0):
                    haste = 16
                size = (size * haste) >> 4
                if (size > more and error > 0) or (size < more and error < 0):
                    more = size
            total = s[INTEGRAL] + more
            s[INTEGRAL] = top if total > top else (0 - top if total < 0 - top else total)
        if s[CAP] < 0:
            volts = int(_reverse(state))
    s[BRIDGE_OUT] = bridge
    _put(state, volts)


@micropython.viper
def _drop(state, rotor) -> int:
    """Give the voltage that the winding may have: the current limit, or what the teeth bear and the rotor takes, if less."""
    s = ptr32(state)
    if s[LABEL] == HOMING:
        return s[S_HOME_DROP]
    most = s[MOST]
    if s[S_OVERLOAD_EASE]:
        most = most - (most >> 4)  # the load grows while it is pressed
    elif s[QUIET] < STUCK_TICKS:
        most = most - (most >> 5)  # moving, its swing adds to it
    else:
        most = most + (most >> 6)  # or an overload could never be told
    if s[S_OVERLOAD_EASE]:  # nothing else ends it: what the rotor's swing adds comes off the drive
        over = s[PULL]
        over = (over if over > 0 else 0 - over) - s[MOST]
        if over > 0:
            most = most - over * 2
            most = most if most > 0 else 0
    if s[CAP] < most:
        most = s[CAP] if s[CAP] > 0 else 0
    most = most + s[S_FRICTION_MA] + (int(rotor) if int(rotor) > 0 else 0 - int(rotor))
    most = PUSH_TOP if most > PUSH_TOP else most
    drop = (most * s[S_OHM_NUM]) >> s[S_OHM_SHIFT]
    return drop if drop < s[S_DROP_MV] else s[S_DROP_MV]


@micropython.viper
def _reverse(state) -> int:
    """Give the drive voltage that stops the rotor: all the bridge bears until it stands, then a short across the motor."""
    s = ptr32(state)
    way = s[BRAKE_WAY]
    if s[X_SPEED] * way <= 0 or s[BRAKED] >= REVERSE_TICKS:
        return 0
    supply = s[SUPPLY_IN] if s[SUPPLY_IN] > 0 else s[S_NOMINAL_MV]
    top = (supply * s[S_MAX_DUTY]) // 10000
    volts = s[BACK] - way * s[S_DROP_MV]
    return top if volts > top else (0 - top if volts < 0 - top else volts)


@micropython.viper
def _put(state, volts):
    """Put the drive voltage on the bridge; tell the current by the motor model, and the load on the teeth by it.

    Moving, the load is the observer's; at rest it is what the current leaves beside friction.
    """
    s = ptr32(state)
    drive = int(volts)
    s[VOLTS] = drive
    duty = 0
    current = 0
    if s[BRIDGE_OUT]:
        duty = (drive * 10000) // (s[SUPPLY_IN] if s[SUPPLY_IN] > 0 else s[S_NOMINAL_MV])
        duty = 10000 if duty > 10000 else (-10000 if duty < -10000 else duty)
        current = ((drive - s[BACK]) * s[S_RI_NUM]) >> s[S_RI_SHIFT]
        current = MA_TOP if current > MA_TOP else (0 - MA_TOP if current < 0 - MA_TOP else current)
    s[DUTY] = duty
    s[DUTY_OUT] = duty * s[S_POLARITY]
    s[CURRENT] = current
    accel = s[D2_HIGH] >> s[S_ACCEL_SHIFT]
    accel = A_TOP if accel > A_TOP else (0 - A_TOP if accel < 0 - A_TOP else accel)
    part = current >> 4
    s[SQUARES] = (s[SQUARES] + ((part * part) >> 4)) & MASK
    if s[X_SPEED] > MOVING_SPEED or s[X_SPEED] < 0 - MOVING_SPEED:
        load = (s[OPPOSED_16] >> 4) + ((accel * s[S_KL_NUM]) >> s[S_KL_SHIFT])
    else:
        load = current - ((accel * s[S_KJ_NUM]) >> s[S_KJ_SHIFT])
        if load > s[S_FRICTION_MA]:
            load = load - s[S_FRICTION_MA]
        elif load < 0 - s[S_FRICTION_MA]:
            load = load + s[S_FRICTION_MA]
        else:
            load = 0
    load = MA_TOP if load > MA_TOP else (0 - MA_TOP if load < 0 - MA_TOP else load)
    s[LOAD_16] = s[LOAD_16] + load * 4 - (s[LOAD_16] >> 2)
    s[LOAD] = s[LOAD_16] >> 4


@micropython.viper
def _guard(state):
    """Stop by itself when something is wrong."""
    s = ptr32(state)
    if s[EDGE_NEW]:
        s[EDGE_NEW] = 0
        _audit(state)
    mode = s[MODE]
    if mode == OFF:
        s[OVERRAN_THEN] = s[OVERRAN_IN]
        return
    if mode == BRAKE:
        s[BRAKED] = s[BRAKED] + 1
        if s[BRAKED] >= BRAKE_TICKS:
            if s[RAN_ON] > LOST:  # nothing had stopped it: edges had been lost
                s[FAULT] = SENSOR_ERROR
            _remove(state, BY_FAULT)
        return
    load = s[LOAD] if s[LOAD] > 0 else 0 - s[LOAD]
    if s[MOTION] and load > s[PEAK]:
        s[PEAK] = load
    if s[SOURCE] == 0 and s[SILENT] * 2 >= s[S_SILENCE_MS]:
        if mode == REST:
            s[WENT_SILENT] = 1
            _remove(state, STOPPED)
            return
        if s[AFTER] != REMOVE or mode != RAMP:
            s[WENT_SILENT] = 1
            _fault(state, HOST_SILENT, 1)
    s[LOW] = s[LOW] + 1 if s[SUPPLY_IN] > 0 and s[SUPPLY_IN] < s[S_SUPPLY_LOW] else 0
    if s[LOW] >= LOW_TICKS:
        s[LOW] = 0
        if s[AFTER] != REMOVE or s[MODE] != RAMP:
            _fault(state, SUPPLY_LOW, 1)
    if (
        (s[OVERRAN_IN] - s[OVERRAN_THEN]) & MASK
    ) >= OVERRUNS_MAX:  # one may be the host's doing; so many are not control
        s[OVERRAN_THEN] = s[OVERRAN_IN]
        _fault(state, OVERRUN, 0)
        return
    s[ILLEGAL_TICKS] = s[ILLEGAL_TICKS] + 1
    if ((s[ILLEGAL_IN] - s[ILLEGAL_THEN]) & MASK) >= s[S_ILLEGAL_MAX]:
        s[ILLEGAL_THEN] = s[ILLEGAL_IN]
        _fault(state, SENSOR_ERROR, 0)
        return
    if s[ILLEGAL_TICKS] >= SECOND_TICKS:
        s[OVERRAN_THEN] = s[OVERRAN_IN]
        s[ILLEGAL_TICKS] = 0
        s[ILLEGAL_THEN] = s[ILLEGAL_IN]
    _guard_jam(state)
    if s[MODE] == BRAKE or s[MODE] == OFF:
        return
    _guard_load(state, load)
    _guard_place(state)


@micropython.viper
def _guard_jam(state):
    """A sudden jam: the disc falls behind, and if it stood still now, the rotor would wind the train up to an overload."""
    s = ptr32(state)
    want = s[D1_HIGH] >> 8
    way = 1 if want > 0 else -1
    want = want * way
    speed = s[X_SPEED] * way
    lag = 0 - s[LAG] * way
    most = s[MOST]
    held = (s[OPPOSED_16] >> 4) * way
    held = 0 if held < 0 else (JAM_TOP if held > JAM_TOP else held)
    blow = ((speed >> 6) * s[S_BLOW_NUM]) >> s[S_BLOW_SHIFT]
    blow = 0 if blow < 0 else (JAM_TOP if blow > JAM_TOP else blow)
    peak = held * held + blow * blow
    over = peak - most * most
    behind = 0 - s[SLIP] * way - BEHIND - s[ROUGH] * 2 - s[USUAL] - (s[USUAL] >> 1)
    slow = want - speed >= s[S_JAM_SPEED]
    jam = 0
    if s[CAP] < 0:
        jam = 1 if speed > 0 and behind > CLEARED else 0
    elif over >= 0 and speed > 0 and want > speed:
        # the worse the blow would be, the less must the disc be behind
        jam = 1 if (behind >> 6) * (over >> 13) >= (DREAD >> 6) * ((most * most) >> 13) or (slow and lag > JAM) else 0
    if s[LABEL] == HOMING or not (slow or jam):
        # a disc that is off its model all the time tells nothing by it
        lag = lag if lag > 0 else 0 - lag
        lag = USUAL_TOP if lag > USUAL_TOP else lag
        s[USUAL] = s[USUAL] + ((lag - s[USUAL]) >> (5 if lag > s[USUAL] else 7))
        s[SUSPECT] = 0
        s[CAP] = JAM_TOP
        return
    s[SUSPECT] = s[SUSPECT] + 1
    nearly = most - (most >> 4)
    stands = speed * 8 < want and speed * 8 > 0 - want
    if s[QUIET] * 2 >= s[S_STALL_MS] and s[SUSPECT] > s[QUIET] and s[CAP] >= nearly and s[S_OVERLOAD_EASE] == 0:
        _fault(state, STALLED, 0)
        return
    if jam:
        _brake(state, way, 1 if lag > JAM else 0)
        return
    cap = s[CAP] if s[CAP] > 0 else 0
    if behind < LOST >> 2 or speed < 0:
        # it may be a load: press on gently
        if cap < (nearly if stands else JAM_TOP):
            cap = cap + (most >> (6 if stands else 3))
    elif lag >= LOST:
        # a drive of this much would wind the train up to a bit less than an overload
        left = nearly * nearly - peak
        left = left // (2 * (nearly - held)) if left > 0 else 0
        cap = left if left < cap else cap
    s[CAP] = cap


@micropython.viper
def _brake(state, way, certain):
    """Brake the rotor at once; what is certain, or has nearly stopped it from its full speed, is a jam and takes drive away."""
    s = ptr32(state)
    want = s[D1_HIGH] >> 8
    want = want if want > 0 else 0 - want
    speed = s[X_SPEED] * int(way)
    first = s[CAP] >= 0
    if first:
        s[CAP] = -1
        s[BRAKE_WAY] = int(way)
        s[BRAKED] = 0
        s[RAN_ON] = 0
        s[SUDDEN] = 1 if speed * 2 > want else 0
    else:
        s[BRAKED] = s[BRAKED] + 1
    if (int(certain) or (s[SUDDEN] and speed * 4 < want)) and s[S_OVERLOAD_EASE] == 0:
        s[FAULT] = OVERLOAD
        _end(state, BY_FAULT)
        s[PENDING] = 0
        s[MODE] = BRAKE
        s[LABEL] = STOPPING
        s[INTEGRAL] = 0
        s[D1_HIGH] = 0
        s[D2_HIGH] = 0
    if first:
        _put(state, _reverse(state))


@micropython.viper
def _audit(state):
    """Compare the count with what it was at the home edge, when the edge is passed the way that homing passes it."""
    s = ptr32(state)
    if s[HOMED] == 0 or s[LABEL] == HOMING or s[EDGE_WAY] != s[S_HOME_WAY]:
        return
    off = ((s[EDGE_INT] - s[AUDIT_FROM] + HALF) & MASK) - HALF
    turn = s[S_TURN_COUNTS]
    if turn:
        off = off - (off + (turn >> 1)) // turn * turn
    s[AUDIT_OFF] = off
    s[MARKS] = (s[MARKS] + 1) & MASK
    if s[S_ENDLESS]:  # from turn to turn, since a turn need not be a whole number of counts
        s[AUDIT_FROM] = s[EDGE_INT]
    size = off if off > 0 else 0 - off
    speed = s[X_SPEED] if s[X_SPEED] > 0 else 0 - s[X_SPEED]
    if size > s[S_AUDIT] + (speed >> 16) + 1:
        s[HOMED] = 0
        _fault(state, SENSOR_ERROR, 0)


@micropython.viper
def _guard_load(state, load):
    """Overload, stall."""
    s = ptr32(state)
    s[OVER] = s[OVER] + 1 if int(load) > s[MOST] else 0
    if s[OVER] > TIMED_TOP:  # eased, an overload may last for weeks
        s[OVER] = TIMED_TOP
    current = s[CURRENT] if s[CURRENT] > 0 else 0 - s[CURRENT]
    away = ((s[R_INT] - s[COUNT] + HALF) & MASK) - HALF
    wanted = away > 1 or away < -1
    s[STALL] = s[STALL] + 1 if current > s[S_STALL_MA] and s[DELTA] == 0 and wanted else 0
    over = s[OVER] * 2 >= s[S_OVERLOAD_MS] and s[S_OVERLOAD_EASE] == 0
    stalled = s[STALL] * 2 >= s[S_STALL_MS]
    if over or stalled:
        s[OVER] = 0
        s[STALL] = 0
        if s[LABEL] == HOMING:
            s[BUMP] = 1
            s[OPPOSED_16] = 0  # what it met is no load
            s[R_INT] = s[COUNT]
            s[R_FRAC] = 0x800000
            s[INTEGRAL] = 0
            s[D1_HIGH] = 0
            s[D2_HIGH] = 0
            s[TARGET_SPEED] = 0
        elif over:
            _fault(state, OVERLOAD, 0)
        elif s[S_OVERLOAD_EASE] == 0:
            _fault(state, STALLED, 0)


@micropython.viper
def _guard_place(state):
    """Wrong direction, following error, travel."""
    s = ptr32(state)
    if s[MODE] == OFF:
        return
    away = ((s[R_INT] - s[COUNT] + HALF) & MASK) - HALF
    delta = s[DELTA]
    # away from the reference, not the way it goes, against the drive, faster and faster: a load that is braked gets slower
    want = s[D1_HIGH]
    gain = s[X_SPEED] - s[SPEED_THEN]
    s[SPEED_THEN] = s[SPEED_THEN] + (gain >> 3)
    loss = (s[X_SPEED] if s[X_SPEED] > 0 else 0 - s[X_SPEED]) >> 4
    if s[HOMED] and (s[EASED] or (s[S_OVERLOAD_EASE] and want == 0)):
        # something stronger pushes it back; it has gone the right way before
        s[WRONG] = 0
    elif away > 2 and delta < 0 and want >= 0 and s[VOLTS] > 0:
        s[WRONG] = s[WRONG] - delta if gain <= loss else s[WRONG] + delta
    elif away < -2 and delta > 0 and want <= 0 and s[VOLTS] < 0:
        s[WRONG] = s[WRONG] + delta if gain >= 0 - loss else s[WRONG] - delta
    elif delta:
        s[WRONG] = 0
    if s[WRONG] < 0:
        s[WRONG] = 0
    # one sensor alone makes the count go to and fro wherever the disc goes
    if want == 0:
        s[TO_AND_FRO] = 0
    elif delta:
        s[TO_AND_FRO] = s[TO_AND_FRO] + 1 if delta + s[DELTA_THEN] == 0 else 0
        s[DELTA_THEN] = delta
    if s[TO_AND_FRO] >= TO_AND_FRO_TOP and want and (away > 2 or away < -2):
        s[TO_AND_FRO] = 0
        _fault(state, SENSOR_ERROR, 0)
        return
    if s[WRONG] >= s[S_WRONG_WAY]:
        _fault(state, WRONG_DIRECTION, 0)
        return
    # while overload or stall is being timed, they have the better name for it
    timed = s[OVER] > 0 or s[STALL] > 0 or s[S_OVERLOAD_EASE] > 0
    if (away > s[S_FOLLOWING] or away < 0 - s[S_FOLLOWING]) and not timed:
        _fault(state, FOLLOWING_ERROR, 0)
        return
    # at rest under a short the lever may creep, and taking the short away would only let it run
    driven = s[MODE] != REST or s[S_REST_MODE] == 1
    if driven and s[HOMED] and s[S_ENDLESS] == 0 and s[LABEL] != HOMING:
        place = ((s[COUNT] - s[ORIGIN_INT] + HALF) & MASK) - HALF
        if place > s[S_TRAVEL_HIGH] + s[S_TRAVEL_MARGIN] and delta > 0:
            _fault(state, TRAVEL, 0)
        elif place < s[S_TRAVEL_LOW] - s[S_TRAVEL_MARGIN] and delta < 0:
            _fault(state, TRAVEL, 0)
