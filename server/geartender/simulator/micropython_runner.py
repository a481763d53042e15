"""Runs under MicroPython: a line of the settings kept; then one line of inputs in, one tick, one line of outputs out."""

import sys
from binascii import hexlify, unhexlify

sys.path.insert(0, sys.argv[1])

from firmware import tick as t
from firmware.core import Core
from firmware.keeping import Keeper


def main():
    """Serve ticks until the pipe closes."""
    core = Core(sys.argv[2], sys.argv[3])
    state = core.state
    kept: list[str] = []
    keeper = Keeper(core, sys.stdin.buffer.readline().decode().rstrip("\n") or None, kept.append)
    pins = [0]

    def look():
        home = state[t.HOME_IN]
        return pins[0] | (home if core.settings.get("home_level") else 1 - home) << 2

    core.look = look
    while True:
        line = sys.stdin.buffer.readline()
        if not line:
            return
        words = line.decode().rstrip("\n").split(" ")
        state[t.COUNT_IN] = int(words[0])
        state[t.HOME_IN] = int(words[1])
        state[t.SUPPLY_IN] = int(words[2])
        pins[0] = int(words[5])
        state[t.AGE_IN] = int(words[6])
        core.tick()
        if words[4] != "0":
            core.lead.take(int(words[4]))
        if words[3]:
            core.receive(unhexlify(words[3]))
        sent = core.step()
        text = kept[-1] if keeper.step() else ""
        outputs = (state[t.DUTY_OUT], state[t.BRIDGE_OUT], hexlify(sent), hexlify(text.encode()))
        sys.stdout.buffer.write(b"%d %d %s %s\n" % outputs)


main()
