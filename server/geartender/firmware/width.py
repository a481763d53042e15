"""Measures the RC pulse beside the processor: a program for one of the chip's input/output state machines (PIO).

It waits for the pin to rise, counts while it is high, and offers the count once it has fallen: one word a pulse, no interrupts. A
loop of the count is two clocks of the state machine, which runs at `CLOCK_HZ`, so that a word is the width in 1/16 µs, and 1/8 µs
short at most. A full queue drops what comes; a pin that stays high or low offers nothing.
"""

CLOCK_HZ = 32000000
LOOP = 2  # clocks for a step of the count


def width():
    """Give the program in the words of the board's assembler, which it is handed to there."""
    wait(0, pin, 0)
    wait(1, pin, 0)
    mov(x, invert(null))
    label("high")
    jmp(x_dec, "counted")
    label("counted")
    jmp(pin, "high")
    mov(isr, invert(x))
    push(noblock)
