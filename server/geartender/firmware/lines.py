"""Lines on the serial link: printable ASCII, checked by CRC-32, ended by a newline."""

from binascii import crc32

LINE_MAX = 200  # bytes with the newline: what a slow board can hold, and 17 ms of a 115200 baud line


def check(body):
    """Give the CRC-32/ISO-HDLC of a body as eight lower-case hex digits."""
    return "%08x" % (crc32(body) & 0xFFFFFFFF)


def encode(text):
    """Give the line that carries `text`, as bytes."""
    body = text.encode()
    return body + b"*" + check(body).encode() + b"\n"


class LineReader:
    """Takes bytes as they come, gives the bodies of good lines as text, drops and counts the rest."""

    def __init__(self):
        self.bad = 0
        self._held = bytearray()
        self._too_long = False

    def feed(self, data):
        """Give the list of bodies that `data` completes."""
        bodies = []
        pieces = data.split(b"\n")
        for i in range(len(pieces)):
            if len(self._held) + len(pieces[i]) >= LINE_MAX:
                self._too_long = True
                self._held = bytearray()
            if not self._too_long:
                self._held.extend(pieces[i])
            if i < len(pieces) - 1:
                body = None if self._too_long else _open(bytes(self._held))
                if body is None:
                    self.bad += 1
                else:
                    bodies.append(body)
                self._held = bytearray()
                self._too_long = False
        return bodies


def _open(line):
    """Give the body of a line without its newline, or None if it fails."""
    if len(line) < 10 or line[-9:-8] != b"*":
        return None
    body = line[:-9]
    for byte in line:
        if byte < 0x20 or byte > 0x7E:
            return None
    if line[-8:] != check(body).encode():
        return None
    return body.decode()
