"""What the tick needs from the main loop to follow an aim: the bounds of its tracker, and an empty span."""

from . import tick as t

SUM_TOP = 1 << 29  # of the tracker's speeds over its span,
SPEED_TOP = 1000000000  # and of its speed in 2^-24 count per tick: what the tick's sums hold


def prepare(core, plan=None):
    """Hand the tracker its bounds, no speed above the plan's, if there is one, and none beyond what the tick's sums hold."""
    s = core.state
    span, shift = core.settings.get("follow_span"), core.settings.get("follow_shift")
    accel = core.settings.get("follow_accel")
    s[t.TRACK_SPAN] = span
    s[t.TRACK_SHIFT] = shift
    s[t.TRACK_ACCEL] = accel
    s[t.TRACK_TOP] = max(1, min(pace(core, plan) >> shift, accel * t.STEPS_TOP, SUM_TOP // span, SPEED_TOP >> shift))
    for i in range(span):
        core.queue[i] = 0


def pace(core, plan):
    """Give the highest speed of a plan in 2^-24 count per tick, or that of the limits without one."""
    most = core.settings.get("follow_speed") << core.settings.get("follow_shift")
    own = plan.top_speed() * 256 // 500 if plan else 0
    return min(own, most) if own else most
