"""Plans: pieces of constant jerk, worked out into rows that the tick can follow by adding.

Runs in the main loop, in whole numbers of any size. Wire units: position 1/65536 count, speed, acceleration and jerk
1/65536 count per s, s², s³; times in µs of the firmware's clock, not wrapped: a queue may last longer than the
tick's clock takes to come round.
"""

from . import tick as t

PIECES_MAX = 32
PIECE_US_MAX = 60000000  # the forward differences keep 1/100 count over a piece this long
JOIN_POSITION = 16384  # 1/4 count
JOIN_FROM_REST = 131072  # 2 counts: at rest under a short the lever may have crept
JOIN_SPEED = 131072  # 2 counts per s
REST_SPEED = 65536  # 1 count per s
SPEED_TOP = 1000000000 * 500 // 256  # 1/65536 count per s: what the tick's 2^-24 count per tick can hold,
ACCEL_TOP = 250000000 * 250000 // 256  # its 2^-24 count per tick²
JERK_TOP = 250000000 * 125000000 // 256  # and 2^-24 count per tick³, with a tick beyond the end of the piece

_D2 = 2 * 10**12
_D3 = 6 * 10**18
_H = t.TICK_US


def wrapped(difference):
    """Bring a difference of two times or counts modulo 2^30 to -2^29..2^29."""
    return ((difference + t.HALF) & t.MASK) - t.HALF


class Piece:
    """One piece: the state at its start and its jerk, in wire units; its start in µs after the plan's."""

    def __init__(self, start, duration, position, speed, acceleration, jerk):
        self.start = start
        self.duration = duration
        self.position = position
        self.speed = speed
        self.acceleration = acceleration
        self.jerk = jerk

    def position_at(self, us):
        """Give the position `us` after the start of the piece."""
        part = self.speed * us * (_D3 // 10**6) + self.acceleration * us * us * (_D3 // _D2) + self.jerk * us * us * us
        return self.position + part // _D3

    def speed_at(self, us):
        """Give the speed `us` after the start of the piece."""
        return self.speed + (self.acceleration * us * 2 * 10**6 + self.jerk * us * us) // _D2

    def fits(self):
        """Tell whether the tick can hold its speed, acceleration and jerk from start to end."""
        last = self.acceleration + self.jerk * self.duration // 10**6
        speeds = [self.speed, self.speed_at(self.duration)]
        if (self.acceleration < 0) != (last < 0):  # the speed turns round within the piece
            speeds.append(self.speed_at(-self.acceleration * 10**6 // self.jerk))
        return (
            max([abs(speed) for speed in speeds]) <= SPEED_TOP
            and max(abs(self.acceleration), abs(last)) <= ACCEL_TOP
            and abs(self.jerk) <= JERK_TOP
        )

    def row(self, us):
        """Give the nine words of the reference and its differences per tick, `us` after the start of the piece."""
        place = (self.position << 32) + (
            (
                (
                    self.speed * us * (_D3 // 10**6)
                    + self.acceleration * us * us * (_D3 // _D2)
                    + self.jerk * us * us * us
                )
                << 32
            )
            // _D3
        )
        first = (
            self.speed * _H * (_D3 // 10**6)
            + self.acceleration * (2 * us * _H + _H * _H) * (_D3 // _D2)
            + self.jerk * (3 * us * us * _H + 3 * us * _H * _H + _H * _H * _H)
        )
        second = self.acceleration * _H * _H * 2 * (_D3 // _D2) + self.jerk * (6 * us * _H * _H + 6 * _H * _H * _H)
        third = 6 * self.jerk * _H * _H * _H
        words = [(place >> 48) & t.MASK, (place >> 24) & t.M24, place & t.M24]
        for number in (first, second, third):
            value = ((number << 32) + _D3 // 2) // _D3  # to the nearest: the third adds up to n³/6 times its error
            words.append(value >> 24)
            words.append(value & t.M24)
        return words


class Plan:
    """A queue of pieces for one motion, from its start time on."""

    def __init__(self, motion, start, count):
        self.motion = motion
        self.start = start
        self.count = count
        self.bound_ma = 0
        self.pieces = []

    def add(self, duration, position, speed, acceleration, jerk):
        """Append a piece; give None, or the reason of a refusal."""
        last = self.pieces[-1] if self.pieces else None
        if last and not _joins(
            last.position_at(last.duration), last.speed_at(last.duration), position, speed, JOIN_POSITION
        ):
            return "join"
        start = last.start + last.duration if last else 0
        piece = Piece(start, duration, position, speed, acceleration, jerk)
        if not piece.fits():
            return "range"
        self.pieces.append(piece)
        return None

    def end(self):
        """Give the position at the end."""
        last = self.pieces[-1]
        return last.position_at(last.duration)

    def top_speed(self):
        """Give its highest speed at the ends of its pieces, which is where those of a plan from rest to rest have it."""
        return max([abs(piece.speed_at(us)) for piece in self.pieces for us in (0, piece.duration)])

    def at_rest(self):
        """Tell whether it ends at rest."""
        last = self.pieces[-1]
        return abs(last.speed_at(last.duration)) < REST_SPEED

    def state_at(self, time):
        """Give (position, speed) at a firmware time from the start on; after the end it rests there."""
        us = time - self.start
        for piece in self.pieces:
            if us < piece.start + piece.duration:
                return (piece.position_at(us - piece.start), piece.speed_at(us - piece.start))
        return (self.end(), 0)

    def joins(self, position, speed, tolerance):
        """Tell whether it starts at the given state; `tolerance` is that of the position."""
        first = self.pieces[0]
        return _joins(position, speed, first.position, first.speed, tolerance)

    def stays_within(self, low, high):
        """Tell whether the path lies between two positions, looked at in quarters of each piece."""
        for piece in self.pieces:
            for quarter in range(5):
                position = piece.position_at(piece.duration * quarter // 4)
                if position < low or position > high:
                    return False
        return True

    def write(self, queue, bank, now):
        """Write the rows into a bank of the queue; give (the tick's time of the first row, its word, one past the last)."""
        row = bank * t.BANK_WORDS
        times: list[int] = []
        places = [(piece.start, piece) for piece in self.pieces]
        last = self.pieces[-1]
        rest = Piece(last.start + last.duration, 0, self.end(), 0, 0, 0)
        places.append((rest.start, rest))
        for start, piece in places:
            wait = (now - self.start - start) % _H  # from the piece's start to the tick that first falls into it
            time = (self.start + start + wait) & t.MASK
            if times and times[-1] == time:
                row -= t.ROW_WORDS
                times.pop()
            times.append(time)
            queue[row] = time
            words = piece.row(wait)
            for i in range(9):
                queue[row + 1 + i] = words[i]
            row += t.ROW_WORDS
        return (times[0], bank * t.BANK_WORDS, row)


def _joins(position, speed, other_position, other_speed, tolerance):
    """Tell whether two states are close enough to pass from one to the other."""
    return abs(position - other_position) <= tolerance and abs(speed - other_speed) <= JOIN_SPEED + (abs(speed) >> 6)
