"""The build sheet: what was built, and the figures that follow from it. Pure but for `load_build`, which reads a file."""

from geartender.build.figure_models import Figures, SuggestedLimits
from geartender.build.figures import figures
from geartender.build.files import build_document, load_build, parse_build, write_build
from geartender.build.motor import MotorConstants, motor_constants
from geartender.build.sheet import BuildSheet, can_move

__all__ = [
    "BuildSheet",
    "Figures",
    "MotorConstants",
    "SuggestedLimits",
    "build_document",
    "can_move",
    "figures",
    "load_build",
    "motor_constants",
    "parse_build",
    "write_build",
]
