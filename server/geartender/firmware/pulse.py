"""The RC pulse: from the widths that the board measures to the place that they ask for. Only the width counts, not the frame.

Three things stand between a width and the lever. What lies far outside the sheet's widths is no pulse. The middle of the last three
takes a single wrong one out. What is left is followed at once where it is far off, and more slowly the nearer it is, so that a
sender that trembles does not make the lever tremble. Widths are in 1/16 µs, or 1/256 µs where said so; times in µs, not wrapped.
"""

UNIT = 16  # parts of a µs in a width
FINE = 16  # parts of that in the filtered width
OUTSIDE = 4  # the share of the span of widths beyond its ends, as 1 / OUTSIDE, in which a pulse is still one, taken as the end's
ACQUIRED = 8  # pulses in a row that are good before anything follows them: noise on a loose wire does not make so many
NEEDED = ("pulse_enabled", "pulse_min_us", "pulse_mid_us", "pulse_max_us", "pulse_lost_ms")
KEPT = 3  # widths of which the middle one counts
QUICK = 64 * UNIT * FINE  # how far off is followed at once: 64 µs, a quarter more than three times a trembling of 20 µs
SLOWEST = 8  # the least share that is followed, as 1 / SLOWEST
DONE = 8  # what is left of the way in 1/256 µs that is not worth another step
BAND = (
    4 * FINE
)  # the filtered width moves by more than 1/4 µs, or nothing does: four times the doubt of the measurement


class Pulse:
    """The input. `present` once enough good pulses came, until none has come for the sheet's time."""

    def __init__(self, settings):
        self._settings = settings
        self.present = False
        self.dropped = 0  # pulses that were none
        self._kept = []
        self._good = 0  # so many in a row, as far as it matters
        self._last = 0
        self._width = 0  # filtered, 1/256 µs
        self._used = 0

    def take(self, width, now):
        """Take a pulse that has just ended."""
        if not self.enabled():
            return
        low, high = self._get("pulse_min_us") * UNIT, self._get("pulse_max_us") * UNIT
        margin = (high - low) // OUTSIDE
        if width < low - margin or width > high + margin:
            self.dropped += 1
            if not self.present:
                self._forget()
            return
        self._last = now
        self._kept.append(width)
        if len(self._kept) > KEPT:
            self._kept.pop(0)
        self._filter(sorted(self._kept)[len(self._kept) // 2] * FINE)
        self._good = min(self._good + 1, ACQUIRED)
        self.present = self.present or self._good == ACQUIRED

    def _filter(self, wanted):
        off = wanted - self._width
        size = abs(off)
        if self._good == 0 or size >= QUICK or size <= DONE:
            self._width = wanted
        else:
            self._width += off * max(size, QUICK // SLOWEST) // QUICK
        if self._good == 0 or abs(self._width - self._used) > BAND:
            self._used = self._width

    def step(self, now):
        """Notice that the pulse is lost."""
        if self._good and (not self.enabled() or now - self._last > self._get("pulse_lost_ms") * 1000):
            self._forget()

    def _forget(self):
        self.present = False
        self._good = 0
        self._kept = []

    def enabled(self):
        """Tell whether the settings are there, want a pulse, and say what its widths mean."""
        if not all(self._settings.holds(name) for name in NEEDED) or not self._get("pulse_enabled"):
            return False
        return self._get("pulse_min_us") < self._get("pulse_mid_us") < self._get("pulse_max_us")

    def _get(self, name):
        return self._settings.get(name)

    def us(self):
        """Give the filtered width in whole µs, 0 while there is no pulse."""
        return (self._used + UNIT * FINE // 2) // (UNIT * FINE) if self.present else 0

    def place(self):
        """Give the place asked for, in 1/65536 count from the home edge: two straight lines that meet in the middle."""
        widths = [self._get(name) * UNIT * FINE for name in ("pulse_min_us", "pulse_mid_us", "pulse_max_us")]
        ends = [self._get("pulse_from") << 16, self._get("pulse_to") << 16]
        middle = (ends[0] + ends[1]) // 2
        width = min(max(self._used, widths[0]), widths[2])
        if width <= widths[1]:
            return ends[0] + (middle - ends[0]) * (width - widths[0]) // (widths[1] - widths[0])
        return middle + (ends[1] - middle) * (width - widths[1]) // (widths[2] - widths[1])
