"""What a train is looked for: the working point, and the ranges within which the search is complete."""

from typing import Annotated, Self

from pydantic import Field, model_validator

from geartender.build.tables import Share, Speed, Table, Torque
from geartender.build.tooth import FEWEST_TEETH

# A wheel of more teeth takes more time to search for than it is ever worth: it no longer fits a printer, or its teeth no finger.
MOST_TEETH = 150
# Behind a fifth mesh printed gears pass little more than half of the power.
MOST_MESHES = 4
# More than a person reads; the search keeps no more than this.
MOST_TRAINS = 100
# Far more than anybody has cutters or patience for.
MOST_MODULES = 20

Teeth = Annotated[int, Field(ge=FEWEST_TEETH, le=MOST_TEETH)]
Module = Annotated[float, Field(ge=0.1, le=50.0)]


class TrainRequest(Table):
    """A speed and a torque of the output that are wanted at once, and what the train may be made of."""

    speed_deg_s: Speed
    """Give the speed that the output must reach under the torque, in degrees per second."""
    torque_nm: Torque
    """Give the torque that the output must give at that speed, in N·m."""
    fewest_teeth: Teeth = FEWEST_TEETH
    """Give the fewest teeth of a gear; below 12 no strength is claimed."""
    most_teeth: Teeth = 80
    """Give the most teeth of a gear."""
    most_meshes: Annotated[int, Field(ge=1, le=MOST_MESHES)] = MOST_MESHES
    """Give the most pairs of gears, 1 to 4."""
    modules_mm: Annotated[list[Module], Field(min_length=1, max_length=MOST_MODULES)] | None = None
    """List the modules in mm that may be used. Left out: those of the sheet's spur gears, else 0.5 to 3 mm."""
    face_modules: Annotated[float, Field(ge=1.0, le=20.0)] = 10.0
    """Give the width of the teeth as a multiple of their module; about 8 to 16 is usual."""
    face_mm: Annotated[float, Field(ge=0.1, le=1000.0)] | None = None
    """Give one width for the teeth of all gears in mm, in place of face_modules."""
    allowable_mpa: Annotated[float, Field(gt=0.0, le=2000.0)] | None = None
    """Give the bending stress you trust the teeth with. Left out: the least of the sheet's spur gears."""
    efficiency: Share | None = None
    """Give the share of the power that passes each mesh. Left out: what the figures assume for spur gears."""
    bed_mm: Annotated[float, Field(gt=0.0, le=10_000.0)] | None = None
    """Give the width of the printer's bed in mm: no wheel may be larger over its teeth. Left out: any wheel is taken."""
    most: Annotated[int, Field(ge=1, le=MOST_TRAINS)] = 20
    """Say how many trains you want to see, the first of the ranking."""

    @model_validator(mode="after")
    def _range(self) -> Self:
        if self.fewest_teeth > self.most_teeth:
            raise ValueError(f"fewest_teeth ({self.fewest_teeth}) is above most_teeth ({self.most_teeth})")
        return self
