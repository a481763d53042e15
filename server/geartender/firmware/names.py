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
)
