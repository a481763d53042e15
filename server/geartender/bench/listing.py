"""The procedures of the bench, by name."""

from __future__ import annotations

from geartender.bench.execute import Listed

_HERE = "geartender.bench.procedures"

PROCEDURES = {
    one.name: one
    for one in (
        Listed(
            "first-power",
            "First power",
            "Takes a new machine from its first power to trusted, one careful step after the other, and names what is wired or"
            " built wrong. You stand beside it, turn the motor by hand once, and say what you see.",
            (
                "The supply",
                "Both sensors, by hand",
                "A nudge: which way is up",
                "Home, from both sides",
                "How far it really goes",
                "Every count arrives",
            ),
            f"{_HERE}.first_power",
            "first_power",
        ),
        Listed(
            "measure",
            "Measure",
            "Finds the motor's constants, friction, play, stiffness, the disc's edges and the supply of this very machine. With a"
            " meter in one of the motor's wires it finds the winding's resistance too.",
            (
                "Home, again and again",
                "The home mark, both ways",
                "Motor and friction",
                "Break-away, from place to place",
                "Against the end stop",
                "What it all says",
            ),
            f"{_HERE}.measure",
            "measure",
        ),
        Listed(
            "tune",
            "Tune",
            "One knob goes from calm to quick. You see what it does to a move on the identified model, try it on the machine, and"
            " save it or leave it.",
            ("The move as it is", "The knob, before and after"),
            f"{_HERE}.tune",
            "tune",
        ),
        Listed(
            "thresholds",
            "Thresholds",
            "Draws a map of the torque that the machine needs over its travel, and sets the overload between that and what the"
            " teeth bear.",
            ("A map of the running torque", "The threshold"),
            f"{_HERE}.thresholds",
            "thresholds",
        ),
        Listed(
            "positions",
            "Positions",
            "How exactly and how repeatably the lever comes to its places, from both sides, after ISO 230-2. You read a gauge on"
            " the lever; without one only the home edge is looked at.",
            ("The home edge, from both sides", "The same places, from both sides"),
            f"{_HERE}.positions",
            "positions",
        ),
        Listed(
            "weight",
            "A known weight",
            "How much of the motor's torque the gears pass on, by a weight that you hang on the lever: it sets the scale of every"
            " torque that is shown. Measure first.",
            ("Up and down as it is", "Up and down with a known weight", "What the weight says"),
            f"{_HERE}.weight",
            "weight",
        ),
        Listed(
            "warm-up",
            "Warm-up",
            "How warm the winding gets while the motor presses its stop, by its resistance. You read a meter in one of the"
            " motor's wires three times; it takes about six minutes.",
            ("Cold, warm, and cooling", "How warm the winding gets"),
            f"{_HERE}.warmth",
            "warmth",
        ),
    )
}
"""In the order in which a new machine goes through them."""
