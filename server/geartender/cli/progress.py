"""Shows on stderr how far a motion is, while one is waited for; nothing when stderr is not a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from geartender.cli.wording import state_line

if TYPE_CHECKING:
    from geartender.client.client import Progress


@contextmanager
def progress_shown(as_json: bool) -> Iterator[Progress | None]:
    """A function to hand to the client, or None when nobody looks."""
    from rich.console import Console
    from rich.status import Status

    console = Console(stderr=True)
    if as_json or not console.is_terminal:
        yield None
        return
    with Status("asked", console=console) as status:

        def show(motion: dict[str, Any], snapshot: dict[str, Any]) -> None:
            planned = motion["planned_s"]
            status.update(state_line(snapshot) + ("" if planned is None else f", planned {planned:.1f} s"))

        yield show
