"""Counts the disc beside the processor: a program for one of the chip's input/output state machines (PIO).

It looks at both sensors every few clocks, without interrupts, and offers one word each time it looks: the count in the low 24 bits,
and in the high 8 bits how often both sensors had changed at once, counted down. Both wrap; the tick takes differences.

The index of its table is the old state of the sensors times 4 plus the new one, so the table must stand at address 0: the program
fills the whole memory of a PIO block and has it for itself. Registers: Y the count, X the impossible changes, OSR the old state.
"""

COUNT_BITS = 24
BAD_BITS = 8
LONGEST_LOOP = 13  # clocks from one look at the sensors to the next, at most


def quadrature():
    """Give the program in the words of the board's assembler, which it is handed to there."""
    # 00 → 00, 01, 10, 11
    jmp("publish")
    jmp("up")
    jmp("down")
    jmp(x_dec, "publish")
    # 01 →
    jmp("down")
    jmp("publish")
    jmp(x_dec, "publish")
    jmp("up")
    # 10 →
    jmp("up")
    jmp(x_dec, "publish")
    jmp("publish")
    jmp("down")
    # 11 →
    jmp(x_dec, "publish")
    jmp("down")
    jmp("up")
    jmp("publish")
    label("down")
    jmp(y_dec, "publish")  # where the count is 0 it goes on to the next line, which is the same
    label("publish")
    mov(isr, x)
    in_(y, 24)
    push(noblock)  # a full queue drops it: who reads empties the queue and waits for the next
    mov(isr, null)
    in_(osr, 2)
    mov(osr, pins)
    in_(osr, 2)
    mov(pc, isr)
    label("up")
    mov(y, invert(y))
    jmp(y_dec, "back")
    label("back")
    mov(y, invert(y))
    jmp("publish")
    nop()
    nop()
    nop()
