"""The tick's way to the chip: the count, the home sensor and the bridge by register, in machine code and without allocation.

The addresses are those of the RP2040 (datasheet, sections 2.3.1.7, 3.7 and 4.5.3). Registers come in as addresses on the board,
and as arrays in tests; `wiring` is the board's own array of words.
"""

from .compat import const, micropython, ptr32

SIO = const(0xD0000000)
PIO0 = const(0x50200000)
PIO1 = const(0x50300000)
PWM = const(0x40050000)
PWM_SLICE_BYTES = const(0x14)
PWM_CC_BYTES = const(0x0C)

# words of a block's registers
PIO_LEVELS = const(3)  # words waiting, four bits for each queue; the first receive queue is in bits 4 to 7
PIO_RECEIVED = const(8)
SIO_IN = const(1)
SIO_SET = const(5)
SIO_CLEAR = const(6)

# words of `wiring`
HOME_PIN = const(0)
HOME_LEVEL = const(1)
DIRECTION = const(2)  # 1: PWM and direction; 0: a PWM for each direction
FULL = const(3)  # PWM steps in a full period
SHIFT_A = const(4)  # 0 or 16: which half of its slice's register
SHIFT_B = const(5)
MASK_B = const(6)  # of the direction pin
ENABLE = const(7)  # mask of the enable pin, 0 where there is none
LAST_COUNT = const(8)
LAST_BAD = const(9)
COUNTED = const(10)  # 1 from the first word on
STUCK = const(11)  # looks at the counter in a row that found nothing new
WIRING_WORDS = const(12)

AGES = const(2)  # state machines of the second block that time the sensors, after the first
ROUND = const(4)  # 2^-16 tick in a unit of theirs
AGE_TOP = const(65536)
FIFO_DEPTH = const(
    4
)  # words that may be old; a machine may offer new ones faster than they can be taken, so no more are thrown away
SPINS = const(40)  # turns to wait for a fresh word: the counter offers one every 13 clocks
COUNT_MASK = const(0xFFFFFF)
COUNT_HALF = const(0x800000)
BAD_MASK = const(0xFF)
TICK_MASK = const(0x3FFFFFFF)
COUNT_IN = const(
    0
)  # slots of the tick's state, which machine code wants in its own file; a test holds them against tick.py
HOME_IN = const(1)
ILLEGAL_IN = const(3)
AGE_IN = const(15)
DUTY_OUT = const(4)
BRIDGE_OUT = const(5)
DUTY_FULL = const(10000)


@micropython.viper
def take(state, wiring, pio, sio):
    """Write the tick's inputs: count, impossible changes, home mark. A counter that stands still is told in STUCK."""
    s = ptr32(state)
    w = ptr32(wiring)
    p = ptr32(pio)
    word = 0
    old = FIFO_DEPTH
    while old > 0 and ((p[PIO_LEVELS] >> 4) & 15) != 0:
        word = p[PIO_RECEIVED]
        old = old - 1
    spins = 0
    while spins < SPINS and ((p[PIO_LEVELS] >> 4) & 15) == 0:
        spins = spins + 1
    if spins < SPINS:
        word = p[PIO_RECEIVED]
        w[STUCK] = 0
        count = word & COUNT_MASK
        bad = (word >> 24) & BAD_MASK
        if w[COUNTED] == 0:
            w[COUNTED] = 1
            w[LAST_COUNT] = count
            w[LAST_BAD] = bad
        moved = ((count - w[LAST_COUNT] + COUNT_HALF) & COUNT_MASK) - COUNT_HALF
        s[COUNT_IN] = (s[COUNT_IN] + moved) & TICK_MASK
        s[ILLEGAL_IN] = (s[ILLEGAL_IN] + ((w[LAST_BAD] - bad) & BAD_MASK)) & TICK_MASK
        w[LAST_COUNT] = count
        w[LAST_BAD] = bad
    else:
        w[STUCK] = w[STUCK] + 1
    pins = ptr32(sio)
    s[HOME_IN] = 1 if ((pins[SIO_IN] >> w[HOME_PIN]) & 1) == w[HOME_LEVEL] else 0


@micropython.viper
def take_age(state, pio):
    """Write how long ago the newest edge of the disc came; after the count, so that no edge is timed that was not counted."""
    s = ptr32(state)
    p = ptr32(pio)
    age = AGE_TOP
    machine = 1
    while machine <= AGES:
        waiting = 8 * machine + 4
        old = FIFO_DEPTH
        while old > 0 and ((p[PIO_LEVELS] >> waiting) & 15) != 0:
            rounds = p[PIO_RECEIVED + machine]
            old = old - 1
        spins = 0
        while spins < SPINS and ((p[PIO_LEVELS] >> waiting) & 15) == 0:
            spins = spins + 1
        if spins < SPINS:
            rounds = p[PIO_RECEIVED + machine]
            if rounds >= 0 and rounds < AGE_TOP // ROUND and rounds * ROUND < age:
                age = rounds * ROUND
        machine = machine + 1
    s[AGE_IN] = age


@micropython.viper
def give(state, wiring, slice_a, slice_b, sio):
    """Bring the bridge to what the tick wants: a share of the supply, a short, or nothing.

    With a PWM for each direction one input stays high and the other is pulled low for the share, so that the motor is shorted for
    the rest of the period and both high is a full short. Both low, or the enable pin low, lets it coast.
    """
    s = ptr32(state)
    w = ptr32(wiring)
    pins = ptr32(sio)
    duty = s[DUTY_OUT]
    size = duty if duty > 0 else 0 - duty
    level = (size * w[FULL]) // DUTY_FULL
    a = 0
    b = 0
    if s[BRIDGE_OUT]:
        if w[DIRECTION]:
            a = level
            if duty < 0:
                pins[SIO_SET] = w[MASK_B]
            else:
                pins[SIO_CLEAR] = w[MASK_B]
        else:
            a = w[FULL]
            b = w[FULL]
            if duty > 0:
                b = w[FULL] - level
            else:
                a = w[FULL] - level
    else:
        pins[SIO_CLEAR] = w[ENABLE]
    # each is one half of a slice's compare register, 16 bits; the other half stays as it is
    r = ptr32(slice_a)
    shift = w[SHIFT_A]
    sides = 1 if w[DIRECTION] else 2
    while sides > 0:
        if shift:
            r[0] = (r[0] & 0xFFFF) | (a << 16)
        else:
            r[0] = ((r[0] >> 16) << 16) | a
        r = ptr32(slice_b)
        shift = w[SHIFT_B]
        a = b
        sides = sides - 1
    if s[BRIDGE_OUT]:
        pins[SIO_SET] = w[ENABLE]
