"""Runs under MicroPython: draws a core's state on a two-wire bus that writes down what it gets, a line of hex for each transfer.

Arguments: folder that holds `firmware`, turns, then `name=value`: label, fault, homed, count, load, address, lost (turns in which nobody
answers), and settings. A line `turn` ends each turn. Then each line of the input is drawn at the top of an empty frame: `text HEX`.
"""

import sys
from binascii import hexlify

sys.path.insert(0, sys.argv[1])

import framebuf
from firmware import tick as t
from firmware.core import Core
from firmware.display import Display
from firmware.screen import Screen

WIDTH, HEIGHT = 128, 64
STATE = {"label": t.LABEL, "fault": t.FAULT, "homed": t.HOMED, "count": t.COUNT, "load": t.LOAD}


class Bus:
    def __init__(self, lost):
        self.lost = lost

    def writeto(self, address, data):
        if self.lost:
            raise OSError(5)
        print(address, hexlify(data).decode())


def frame_on(buffer):
    return framebuf.FrameBuffer(buffer, WIDTH, HEIGHT, framebuf.MONO_VLSB)


def main():
    given = dict([word.split("=", 1) for word in sys.argv[3:]])
    core = Core("shown", "0")
    known = {name: given.pop(name) for name in list(given) if name in STATE or name in ("address", "lost")}
    assert core.settings.store([name + "=" + value for name, value in given.items()]) is None
    for name, slot in STATE.items():
        core.state[slot] = int(known.get(name, "0"))
    core.total = core.state[t.COUNT]
    core.address = known.get("address", "")
    bus = Bus(int(known.get("lost", "0")))
    display = Display(bus, 0x3C, WIDTH, HEIGHT)
    screen = Screen(core, frame_on(display.picture), WIDTH, HEIGHT)
    for turn in range(int(sys.argv[2])):
        now = turn * 2000
        if not display.send(now):
            screen.draw(now)
        bus.lost = max(0, bus.lost - 1)
        print("turn")
    for line in sys.stdin.read().split("\n"):
        buffer = bytearray(WIDTH * HEIGHT // 8)
        frame_on(buffer).text(line, 0, 0, 1)
        print("text", hexlify(buffer[:WIDTH]).decode())


main()
