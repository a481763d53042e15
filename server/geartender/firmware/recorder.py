"""The record: what the disc and the drive did at every tick, for the bench, in a ring that the host empties meanwhile.

`note` runs in the tick's interrupt, after the tick, under the rules of tick.py. A sample is one word: duty + 16384 in
bits 0 to 14, the home mark in bit 15, the count modulo 2048 in bits 16 to 26.
"""

from array import array

from .compat import const, micropython, ptr32

RING = const(512)  # samples: a second of them at every tick, 2 kB
SAMPLES_A_LINE = const(20)  # 140 hex digits, and the line stays below its 200 bytes
EVERY_MAX = 100  # ticks

# words of the log ahead of the ring
EVERY = const(0)  # ticks from sample to sample; 0: nothing is recorded
LEFT = const(1)  # ticks until the next
NEXT = const(2)  # samples taken so far
RING_AT = const(3)
LOG_WORDS = const(515)

HOME = const(
    13
)  # slots of the tick's state, which machine code wants in its own file; a test holds them against tick.py
COUNT = const(8)
DUTY = const(65)
BRIDGE_OUT = const(5)
DUTY_ZERO = const(16384)


@micropython.viper
def note(state, log):
    """Take a sample when it is time for one."""
    w = ptr32(log)
    if w[EVERY]:
        w[LEFT] = w[LEFT] - 1
        if w[LEFT] <= 0:
            w[LEFT] = w[EVERY]
            s = ptr32(state)
            duty = s[DUTY] if s[BRIDGE_OUT] else 0
            w[RING_AT + w[NEXT] % RING] = ((s[COUNT] & 0x7FF) << 16) | (s[HOME] << 15) | (duty + DUTY_ZERO)
            w[NEXT] = (w[NEXT] + 1) & 0x3FFFFFFF


def new_log():
    """Give an empty log."""
    return array("i", [0] * LOG_WORDS)


def begin(log, every):
    """Start a record with a sample every so many ticks; 0 ends it, and what was taken can still be read."""
    log[EVERY] = 0
    if every:
        log[NEXT] = 0
        log[LEFT] = 1
        log[EVERY] = every


def read(log, first):
    """Give the number of the first sample that is still there from `first` on, and up to a line of samples as hex."""
    first = max(first, log[NEXT] - RING + SAMPLES_A_LINE, 0)
    last = min(first + SAMPLES_A_LINE, log[NEXT])
    return first, "".join(["%07x" % log[RING_AT + index % RING] for index in range(first, last)])
