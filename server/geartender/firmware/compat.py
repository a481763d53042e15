"""What CPython lacks of MicroPython, so that the same files run on both."""

try:
    import micropython
    from micropython import const
except ImportError:

    class micropython:  # noqa: N801 - the name that MicroPython's compiler looks for in a decorator
        """Stands in for the board's module: machine code is only made on the board."""

        @staticmethod
        def viper(function):
            return function

    def const(value):
        return value


def ptr32(buffer):
    """Give the buffer itself: indexing an array('i') is what a pointer to 32-bit words does on the board."""
    return buffer
