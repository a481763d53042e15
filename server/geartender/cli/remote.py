"""The options of every command that talks to a running service, and the connection they make."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated

import typer

from geartender.cli.terminal import USAGE, stop_with

if TYPE_CHECKING:
    from geartender.client import Client, RemoteServo

DEFAULT_URL = "http://127.0.0.1:8350"

Url = Annotated[str, typer.Option("--url", envvar="GEARTENDER_URL", help="Address of the service.")]
ServoName = Annotated[
    str | None,
    typer.Option("--servo", envvar="GEARTENDER_SERVO", help="Which servo; not needed when there is only one."),
]
Key = Annotated[
    str | None,
    typer.Option("--key", envvar="GEARTENDER_KEY", help="Key, where the service wants one.", show_envvar=True),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the result as one JSON object.")]


@contextmanager
def connected(url: str, key: str | None) -> Iterator[Client]:
    """A connection to the service."""
    from geartender.client import Client

    with Client(url, key) as client:
        yield client


def chosen(client: Client, name: str | None) -> RemoteServo:
    """The servo asked for, or the only one there is."""
    if name is None:
        names = [servo["name"] for servo in client.servos()]
        if len(names) != 1:
            stop_with(f"Say which servo with --servo: {', '.join(names) or 'this service has none'}.", USAGE)
        name = names[0]
    return client.servo(name)
