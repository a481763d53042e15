"""Runs under MicroPython: one line of inputs in, one tick, one line of outputs out."""

import sys
from binascii import hexlify, unhexlify

sys.path.insert(0, sys.argv[1])

from firmware import tick as t
from firmware.core import Core


def main():
    """Serve ticks until the pipe closes."""
    core = Core(sys.argv[2], sys.argv[3])
    state = core.state
    while True:
        line = sys.stdin.buffer.readline()
        if not line:
            return
        words = line.decode().rstrip("\n").split(" ")
        state[t.COUNT_IN] = int(words[0])
        state[t.HOME_IN] = int(words[1])
        state[t.SUPPLY_IN] = int(words[2])
        core.tick()
        if words[4] != "0":
            core.lead.take(int(words[4]))
        if words[3]:
            core.receive(unhexlify(words[3]))
        sent = core.step()
        sys.stdout.buffer.write(b"%d %d %s\n" % (state[t.DUTY_OUT], state[t.BRIDGE_OUT], hexlify(sent)))


main()
