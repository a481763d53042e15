"""One servo: takes commands, guards them, follows what the firmware does, and tells whoever listens."""

from __future__ import annotations

from geartender.build import BuildSheet
from geartender.link.port import Opener
from geartender.servo.models import Snapshot
from geartender.servo.motions import Motion, Who
from geartender.servo.requests import MoveRequest, TurnRequest
from geartender.servo.subscription import Subscription
from geartender.world import World


class Servo:
    """One servo behind one port. `run` owns the link; everything else may be called from the same event loop."""

    def __init__(self, name: str, sheet: BuildSheet, opener: Opener, world: World) -> None:
        self.name = name
        self.sheet = sheet
        self._opener = opener
        self._world = world

    def snapshot(self, who: Who | None = None) -> Snapshot:
        """Everything about the servo now; `who` decides whether the helm is `yours`."""
        raise NotImplementedError

    async def arm(self, who: Who) -> None:
        """Let the bridge drive. Returns when the firmware has said yes; raises Refused."""
        raise NotImplementedError

    async def disarm(self, who: Who) -> None:
        """Take drive away at once."""
        raise NotImplementedError

    async def reset(self, who: Who) -> None:
        """Clear the fault; starts nothing."""
        raise NotImplementedError

    async def home(self, who: Who) -> Motion:
        """Find the home mark."""
        raise NotImplementedError

    async def move(self, who: Who, request: MoveRequest) -> Motion:
        """Go to an angle."""
        raise NotImplementedError

    async def turn(self, who: Who, request: TurnRequest) -> Motion:
        """Rotate at a held speed."""
        raise NotImplementedError

    def stop(self, who: Who, category: int) -> None:
        """Stop by category 0, 1 or 2: the bytes are with the port when this returns. Never refused."""
        raise NotImplementedError

    async def stopped(self) -> None:
        """Wait until the firmware has confirmed the last stop, or the link is gone."""
        raise NotImplementedError

    async def set_override(self, who: Who, speed: float) -> None:
        """Scale the planned speed, 0 to 1.5, also while moving."""
        raise NotImplementedError

    def jog(self, who: Who, speed_deg_s: float) -> None:
        """Move while held: to be repeated well within 300 ms. Raises Refused."""
        raise NotImplementedError

    def end_jog(self, who: Who) -> None:
        """The control was let go, or its socket is gone."""
        raise NotImplementedError

    def take_helm(self, who: Who, force: bool) -> None:
        """Take the right to start motion; `force` takes it from its holder and stops what moves."""
        raise NotImplementedError

    def give_helm(self, who: Who) -> None:
        """Give it back."""
        raise NotImplementedError

    def motion(self, motion_id: str) -> Motion:
        """A motion that is still remembered. Raises Unknown."""
        raise NotImplementedError

    def motions(self) -> list[Motion]:
        """The motions remembered, newest first."""
        raise NotImplementedError

    def replace_build(self, sheet: BuildSheet) -> None:
        """Put another build sheet in force. Raises Busy unless disarmed."""
        raise NotImplementedError

    def subscribe(self) -> Subscription:
        """Listen; the first message is a snapshot."""
        raise NotImplementedError

    async def run(self) -> None:
        """Own the link for ever: connect, talk, and connect again. Ends by cancellation only."""
        raise NotImplementedError
