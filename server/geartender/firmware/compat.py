"""What CPython lacks of MicroPython, so that the same files run on both."""

try:
    import micropython
    from micropython import const
except ImportError:

    class _Interpreted:
        """Stands in for the board's module: machine code is only made on the board."""

        def viper(self, function):
            return function

    micropython = _Interpreted()

    def const(value):
        return value


def ptr32(buffer):
    """Give the buffer itself: indexing an array('i') is what a pointer to 32-bit words does on the board."""
    return buffer
