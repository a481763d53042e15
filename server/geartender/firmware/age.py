"""Times the newest edge of a sensor beside the processor: a program for one of the chip's input/output state machines (PIO).

It counts from each edge of its pin on and offers the count each time round: one word, how long ago the edge came. Two of them, one
for each sensor of the disc, tell the tick where the disc was at a known moment, and not only between which two edges it is. At the
rate of `CLOCK_HZ` a time round is four 65536ths of a tick. A pin that stands still for nine minutes looks as if it had just moved,
which is of no account: without a new count nobody asks.
"""

LOOP = 4  # clocks for a time round
ROUND = 4  # 2^-16 tick that it takes
CLOCK_HZ = 32768000


def age():
    """Give the program in the words of the board's assembler, which it is handed to there."""
    mov(x, invert(null))
    label("low")
    jmp(pin, "rose")
    mov(isr, invert(x))
    push(noblock)  # a full queue drops it: who reads empties the queue and waits for the next
    jmp(x_dec, "low")
    label("rose")
    mov(x, invert(null))
    label("high")
    mov(isr, invert(x))
    push(noblock)
    jmp(x_dec, "held")
    label("held")
    jmp(pin, "high")
