"""Looks at the machine that the service runs on, and says what is wrong and what to do about it."""

from geartender.doctor.finding import Finding, Verdict
from geartender.doctor.look import examine

__all__ = ["Finding", "Verdict", "examine"]
