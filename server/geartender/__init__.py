"""Geartender: works out, drives and guards a home-built geared servo.

For scripts and notebooks the names below are here too; each is loaded when it is first used, so that importing the
package costs nothing.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from geartender.build import BuildSheet, Figures, figures, load_build
    from geartender.client import Client
    from geartender.motion import Limits, Path, State, plan

# Public name: the module it lives in.
_HOMES = {
    "BuildSheet": "geartender.build",
    "Client": "geartender.client",
    "Figures": "geartender.build",
    "Limits": "geartender.motion",
    "Path": "geartender.motion",
    "State": "geartender.motion",
    "figures": "geartender.build",
    "load_build": "geartender.build",
    "plan": "geartender.motion",
}

__all__ = ["BuildSheet", "Client", "Figures", "Limits", "Path", "State", "figures", "load_build", "plan"]


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
