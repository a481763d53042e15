"""Runs under MicroPython and CPython: do ticks in one mode, print the heap bytes they took and their µs each.

Arguments: folder that holds `firmware`, mode, number of ticks, settings as name=value.
"""

import gc
import sys
import time

sys.path.insert(0, sys.argv[1])

from firmware import tick as t
from firmware.core import Core
from firmware.follow import prepare
from firmware.plan import Plan

MODE = sys.argv[2]
TICKS = int(sys.argv[3])


def prepared():
    """Give a core that is in the mode asked for and stays in it."""
    core = Core("measured", "0")
    assert core.settings.store(sys.argv[4:]) is None
    core.tick()
    if MODE != "off":
        core.post(t.C_ARM)
        core.tick()
    if MODE == "ramp":
        core.ramp(t.TURNING, 1, 3000000, 0, t.STAY)
        core.tick()
    elif MODE == "follow":
        core.state[t.HOMED] = 1
        prepare(core)
        core.state[t.AIM] = t.HALF // 2
        core.state[t.AIM_ON] = 1
        core.tick()
    elif MODE == "ease":
        core.state[t.S_OVERLOAD_EASE] = 1
        core.state[t.MODE] = t.EASE
    elif MODE in ("plan", "settle"):
        duration = 60000000 if MODE == "plan" else 2000
        queued(core, duration)
    return core


def queued(core, duration):
    """Let a queue of one piece run, or have run to its end."""
    s = core.state
    plan = Plan(1, s[t.NOW] + 4000, 1)
    assert plan.add(duration, 0, 65536, 1000, -20) is None
    time, row, end = plan.write(core.queue, 0, s[t.NOW])
    s[t.ARG_MOTION] = 1
    s[t.ARG_T] = time
    s[t.ARG_ROW] = row
    s[t.ARG_END] = end
    core.post(t.C_PLAN)
    for _ in range(3 if MODE == "plan" else 4):
        core.tick()


def run(core, ticks):
    """Do ticks, the count where the reference is or close behind it, no guard's time ever up, the motion never settled."""
    s = core.state
    queue = core.queue
    tick = t.tick
    behind = 0 if MODE == "brake" else 1
    for _ in range(ticks):
        s[t.COUNT_IN] = (s[t.R_INT] - behind) & t.MASK
        s[t.SILENT] = 0
        s[t.SETTLING] = 1
        s[t.STALL] = 0
        s[t.OVER] = 0
        if MODE == "ease":
            s[t.HELD] = 1
            s[t.R_INT] = (s[t.COUNT] + 20) & t.MASK
        tick(s, queue)


def main():
    core = prepared()
    modes = {"off": t.OFF, "brake": t.REST, "hold": t.REST, "ramp": t.RAMP, "follow": t.FOLLOW, "ease": t.EASE}
    expected = modes.get(MODE, t.PLAN)
    alloc = getattr(gc, "mem_alloc", int)
    clock = getattr(time, "ticks_us", None) or (lambda: time.perf_counter_ns() // 1000)
    run(core, 50)
    gc.collect()
    gc.disable()
    before = alloc()
    run(core, TICKS)
    heap = alloc() - before
    assert core.state[t.MODE] == expected, core.state[t.MODE]
    began = clock()
    run(core, TICKS)
    print(heap, (clock() - began) / TICKS)


main()
