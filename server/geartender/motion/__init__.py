"""Plans motion: the quickest path to rest within limits of speed, acceleration and jerk.

Pure and unit-free: whatever unit the caller uses for position, the limits are in that unit per s, s² and s³.
"""

from geartender.motion.path import Limits, Path, Piece, State
from geartender.motion.planner import plan, plan_velocity, stop_path, stretch

__all__ = ["Limits", "Path", "Piece", "State", "plan", "plan_velocity", "stop_path", "stretch"]
