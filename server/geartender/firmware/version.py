"""Version of the firmware, always that of the service it ships with, and of the link protocol it speaks."""

VERSION = "0.1.0"
PROTOCOL = 4
