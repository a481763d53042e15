"""Keeps a text over a loss of power: two copies, each with its number and a checksum, written in turn and only when it changed.

Whatever moment the power goes, one copy is whole: the text of before, or the new one. A write stops the processor for tens of
milliseconds on the chip, so it belongs where nothing drives.
"""

import os
from binascii import crc32

NAMES = ("kept-a.txt", "kept-b.txt")


class Memory:
    """The two copies in a folder. `text` is what was kept last, None where nothing is whole."""

    def __init__(self, folder):
        self._paths = [folder + "/" + name for name in NAMES]
        self.text = None
        self.number = 0
        self._next = 0  # the copy to write next: never the one that holds the text
        for i in range(len(NAMES)):
            found = _read(self._paths[i])
            if found is not None and found[0] > self.number:
                self.number, self.text = found
                self._next = 1 - i

    def keep(self, text):
        """Keep a text; what is kept already costs no write. Tell whether it was written."""
        if text == self.text:
            return False
        body = "%d %s" % (self.number + 1, text)
        with open(self._paths[self._next], "wb") as file:
            file.write(("%s*%08x\n" % (body, _check(body))).encode())
        if hasattr(os, "sync"):
            os.sync()
        self.number += 1
        self.text = text
        self._next = 1 - self._next
        return True


def _check(body):
    return crc32(body.encode()) & 0xFFFFFFFF


def _read(path):
    """Give number and text of a copy, None where it is not whole."""
    try:
        with open(path, "rb") as file:
            line = file.read().decode()
        body, check = line.split("*")
        number, text = body.split(" ", 1)
        if check != "%08x\n" % _check(body):
            return None
        return (int(number), text)
    except (OSError, ValueError):
        return None
