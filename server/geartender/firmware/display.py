"""A display of the SSD1306 kind on two wires: what is drawn reaches it in slices, so that no turn of the main loop takes long.

Commands and addressing are those of the controller's data sheet (sections 9 and 10, from memory). The bus has
`writeto(address, data)` and raises OSError where nobody answers: then the display is left alone for a while, and begun anew.
"""

COMMANDS = 0x00  # the byte before commands,
DATA = 0x40  # and before picture data
SLICE = 32  # columns of one row of eight pixels: 0.9 ms at 400 kHz
AGAIN_US = 5000000  # µs until a display that did not answer is tried again
PAGE = 8  # pixels that a byte holds, one below the other


def beginning(height):
    """Give the commands that switch it on, with a whole picture written row by row."""
    pins = 0x12 if height > 32 else 0x02
    start = bytes([COMMANDS, 0xAE, 0xD5, 0x80, 0xA8, height - 1, 0xD3, 0x00, 0x40, 0x8D, 0x14, 0x20, 0x00])
    return start + bytes([0xA1, 0xC8, 0xDA, pins, 0x81, 0x7F, 0xD9, 0xF1, 0xDB, 0x40, 0xA4, 0xA6, 0xAF])


class Display:
    """The display at an address of a bus. `picture` is the bytearray to draw into: rows of `width` bytes, eight pixels each."""

    def __init__(self, bus, address, width, height):
        self._bus = bus
        self._address = address
        self._width = width
        self._height = height
        self.picture = bytearray(width * height // PAGE)
        self._there = bytearray(len(self.picture))  # what the display shows already
        self._begun = False
        self._tried = None
        self._next = 0  # the slice to look at next

    def send(self, now):
        """Send one slice that differs, at most; `now` in µs, not wrapped. Tell whether there was one."""
        if self._tried is not None and now - self._tried < AGAIN_US:
            return False
        try:
            if not self._begun:
                self._begin()
                return True
            return self._slice()
        except OSError:
            self._begun = False
            self._tried = now
            return False

    def _begin(self):
        self._bus.writeto(self._address, beginning(self._height))
        for i in range(len(self._there)):
            self._there[i] = self.picture[i] ^ 0xFF  # not known: everything differs
        self._begun = True
        self._tried = None

    def _slice(self):
        """Go round once, from where the last one was."""
        count = len(self.picture)
        for _ in range(0, count, SLICE):
            first = self._next
            self._next = first + SLICE if first + SLICE < count else 0
            part = self.picture[first : first + SLICE]
            if part != self._there[first : first + SLICE]:
                row, column = first // self._width, first % self._width
                window = bytes([COMMANDS, 0x21, column, column + SLICE - 1, 0x22, row, row])
                self._bus.writeto(self._address, window)
                self._bus.writeto(self._address, bytes([DATA]) + part)
                self._there[first : first + SLICE] = part
                return True
        return False
