"""How long a battery lasts: Peukert's law, held to the hours that its capacity is stated for.

The capacity printed on a battery holds for a discharge of so many hours, and the law scales from there; used as if it were the
capacity at 1 A it is wrong for any rating but that of one hour at 1 A.
Source: Peukert's law; the form with the hour rating H, t = H · (C / (I · H))^k, from memory.
"""

import math


def rated_current_a(capacity_ah: float, rated_hours: float) -> float:
    """The current at which the capacity is stated."""
    return capacity_ah / rated_hours


def hours(capacity_ah: float, rated_hours: float, current_a: float, exponent: float = 1.0) -> float:
    """Hours of a constant current, t = H · (C / (I · H))^k at the rated current and above.

    Below it the law would promise more than is printed on the battery, and self-discharge takes over: there it is C / I.
    """
    stretched = capacity_ah / (current_a * rated_hours)
    return rated_hours * (stretched if stretched > 1.0 else stretched**exponent)


def exponent(first_a: float, first_hours: float, second_a: float, second_hours: float) -> float:
    """Peukert's exponent from two discharges: ln(I2 / I1) inverse in the times, ln(t1 / t2) / ln(I2 / I1)."""
    return math.log(first_hours / second_hours) / math.log(second_a / first_a)
