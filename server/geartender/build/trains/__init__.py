"""Gear trains for a motor: all trains of spur gears that reach a speed and a torque at once, and bear it. Pure."""

from geartender.build.trains.find import find_trains
from geartender.build.trains.request import TrainRequest
from geartender.build.trains.results import RULE, Train, TrainsFound

__all__ = ["RULE", "Train", "TrainRequest", "TrainsFound", "find_trains"]
