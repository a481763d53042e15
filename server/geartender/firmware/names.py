"""Words on the link for the tick's numbers, each at its index."""

LABELS = ("disarmed", "ready", "moving", "homing", "turning", "jogging", "stopping", "faulted")
HOWS = ("none", "done", "replaced", "stopped", "faulted")
SOURCES = ("host", "pulse")
CAUSES = (
    "none",
    "overload",
    "stalled",
    "wrong-direction",
    "sensor-error",
    "following-error",
    "travel",
    "host-silent",
    "supply-low",
    "too-hot",
    "home-not-found",
    "overrun",
)
# The same for the display, in two lines of 16 letters
FAULT_WORDS = (
    "",
    "Load too high",
    "Blocked: does   not turn",
    "Runs the wrong  way",
    "Disc sensors    make no sense",
    "Fell behind its plan",
    "Left its travel",
    "Host fell silent",
    "Supply too low",
    "Winding too hot",
    "Home mark not   found",
    "Board too slow",
)
