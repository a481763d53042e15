"""A simulated servo: the firmware's own core on simulated mechanics, in memory or behind a pseudo-terminal."""
