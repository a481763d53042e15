"""The build sheet: what was built, as a whole, and what is still missing before it can move."""

from typing import Annotated, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from geartender.build.checks import Conflict, conflicts
from geartender.build.tables import (
    Bridge,
    Disc,
    Display,
    Home,
    Input,
    Limits,
    Load,
    Mesh,
    Motor,
    Overload,
    Pins,
    Pulse,
    Rest,
    Supply,
    Table,
    Travel,
)
from geartender.mistakes import path_of

# The type under which tables that contradict each other are reported; its context holds the conflicts.
CONTRADICTION = "contradiction"


class BuildSheet(Table):
    """What was built. [motor], [disc] and [[mesh]] give figures; to move it also takes [home], [travel] and [limits]."""

    name: Annotated[str, Field(max_length=80)] = ""
    """Give the servo a name, at most 80 characters."""
    note: Annotated[str, Field(max_length=4000)] = ""
    """Write down what you want to remember, at most 4000 characters."""
    motor: Motor
    """Add a [motor] table: supply_v, no_load_rpm, no_load_current_a and one of winding_ohm, stall_current_a, stall_torque_nm."""
    bridge: Bridge = Bridge()
    """Write it as a [bridge] table."""
    disc: Disc
    """Add a [disc] table with marks_per_turn."""
    input: Input | None = None
    """Write it as an [input] table."""
    mesh: Annotated[list[Mesh], Field(min_length=1, max_length=32)]
    """Add a [[mesh]] for every pair of gears, from the motor to the output, up to 32."""
    home: Home | None = None
    """Write it as a [home] table."""
    travel: Travel | None = None
    """Write it as a [travel] table."""
    limits: Limits | None = None
    """Write it as a [limits] table."""
    load: Load = Load()
    """Write it as a [load] table."""
    overload: Overload = Overload()
    """Write it as an [overload] table."""
    rest: Rest = Rest()
    """Write it as a [rest] table."""
    pulse: Pulse | None = None
    """Write it as a [pulse] table."""
    supply: Supply = Supply()
    """Write it as a [supply] table."""
    display: Display = Display()
    """Write it as a [display] table."""
    pins: Pins = Pins()
    """Write it as a [pins] table."""

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        found: list[Conflict] = list(conflicts(self))
        if found:
            message = "; ".join(f"{path_of(conflict.place)}: {conflict.text}" for conflict in found)
            raise PydanticCustomError(CONTRADICTION, "{message}", {"message": message, "conflicts": found})
        return self

    @property
    def missing_to_move(self) -> list[str]:
        """Names of the tables without which the servo cannot move."""
        return [name for name in ("home", "travel", "limits") if getattr(self, name) is None]


def can_move(sheet: BuildSheet) -> bool:
    """Whether the sheet says enough to move, not only to give figures."""
    return not sheet.missing_to_move
