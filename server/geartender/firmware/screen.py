"""What the display shows: state, angle, a bar for the torque, a fault in words, the address to open on a phone.

Drawn part by part, one in a turn of the main loop, into the frame buffer of the board's own `framebuf`; its letters are 8 by 8
pixels.
"""

from . import tick as t
from .names import FAULT_WORDS, LABELS

LETTER = 8  # pixels
REFRESH_US = 200000  # µs between two pictures: five a second follow the eye
MILLI = 1000000  # nanodegrees in a millidegree


class Screen:
    """Draws a core's state. `frame` has `fill_rect`, `rect` and `text` as those of `framebuf`."""

    def __init__(self, core, frame, width, height):
        self._core = core
        self._frame = frame
        self._width = width
        self._height = height
        self._parts = [self._state, self._angle, self._bar, self._foot]
        self._part = 0
        self._drawn = None

    def draw(self, now):
        """Draw the next part if a picture is due; tell whether one was. `now` in µs, not wrapped."""
        if self._part == 0:
            if self._drawn is not None and now - self._drawn < REFRESH_US:
                return False
            self._drawn = now
        self._parts[self._part]()
        self._part = (self._part + 1) % len(self._parts)
        return True

    def _line(self, text, row):
        """Write a line of text, its row in letters."""
        self._frame.fill_rect(0, row * LETTER, self._width, LETTER, 0)
        self._frame.text(text[: self._width // LETTER], 0, row * LETTER, 1)

    def _state(self):
        s = self._core.state
        self._line(LABELS[s[t.LABEL]].upper() + (" PULSE" if s[t.SOURCE] else ""), 0)

    def _angle(self):
        self._line(self._angle_words(), 2)

    def _angle_words(self):
        """Give the angle of the output in words, to a hundredth of a degree."""
        core = self._core
        s = core.state
        if not s[t.HOMED]:
            return "not homed"
        half = core.unwrapped(s[t.COUNT]) + 32768 - core.origin()  # the middle of the count's cell, in 1/65536 count
        milli = core.settings.get("home_mdeg") + half * core.settings.get("ndeg_per_count") // MILLI // 65536
        hundredths = (abs(milli) + 5) // 10
        return "%s%d.%02d deg" % ("-" if milli < 0 and hundredths else "", hundredths // 100, hundredths % 100)

    def _bar(self):
        """A bar for the load, whose frame ends at what is an overload."""
        s = self._core.state
        top, inside = 4 * LETTER, self._width - 2
        self._frame.fill_rect(0, top, self._width, LETTER, 0)
        self._frame.rect(0, top, self._width, LETTER, 1)
        part = min(abs(s[t.LOAD]) * inside // s[t.S_OVERLOAD_MA], inside) if s[t.S_OVERLOAD_MA] else 0
        self._frame.fill_rect(1, top + 2, part, LETTER - 4, 1)

    def _foot(self):
        """A fault in words while one stands, else the address to open."""
        fault = self._core.state[t.FAULT]
        words = FAULT_WORDS[fault] if fault else self._core.address
        letters = self._width // LETTER
        rows = self._height // LETTER
        for row in range(6, rows):
            start = (row - 6) * letters
            self._line(words[start : start + letters].strip(), row)
