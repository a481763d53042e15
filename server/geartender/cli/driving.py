"""status, watch, arm, disarm, lead, home, move, turn, stop, reset: commands to a running service."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from typing import Annotated, Any, Literal

import typer

from geartender.cli.progress import progress_shown
from geartender.cli.remote import DEFAULT_URL, AsJson, Key, ServoName, Url, chosen, connected
from geartender.cli.terminal import result
from geartender.cli.wording import state_line

WATCH_EVERY_S = 0.2
"""s between two looks of `watch`; a person reads no faster."""

#: An angle may be negative: `move -5` is an angle, not an option.
ANGLES = {"ignore_unknown_options": True}

NoWait = Annotated[bool, typer.Option("--no-wait", help="Return as soon as it has started.")]


def add_to(app: typer.Typer) -> None:
    """Put these commands into the application."""
    for command in (status, watch, arm, disarm, reset, lead, home, stop):
        app.command()(command)
    app.command(context_settings=ANGLES)(move)
    app.command(context_settings=ANGLES)(turn)


def status(url: Url = DEFAULT_URL, servo: ServoName = None, key: Key = None, as_json: AsJson = False) -> None:
    """Say what a servo is doing."""
    with connected(url, key) as client:
        result(chosen(client, servo).status(), as_json, state_line)


def watch(url: Url = DEFAULT_URL, servo: ServoName = None, key: Key = None, as_json: AsJson = False) -> None:
    """Print a line whenever something changes, until interrupted. With --json, one snapshot a line."""
    with connected(url, key) as client:
        remote, before = chosen(client, servo), ""
        while True:
            snapshot = remote.status()
            line = state_line(snapshot)
            if line != before:
                before = line
                print(json.dumps(snapshot) if as_json else line, flush=True)
            time.sleep(WATCH_EVERY_S)


def _simple(act: str) -> Callable[..., None]:
    def command(url: Url = DEFAULT_URL, servo: ServoName = None, key: Key = None, as_json: AsJson = False) -> None:
        with connected(url, key) as client:
            result(getattr(chosen(client, servo), act)(), as_json, state_line)

    command.__name__ = act
    return command


arm = _simple("arm")
arm.__doc__ = "Let the bridge drive. Moves nothing."
disarm = _simple("disarm")
disarm.__doc__ = "Take drive away at once."
reset = _simple("reset")
reset.__doc__ = "Clear a fault. Starts nothing; the servo stays disarmed."


def lead(
    source: Annotated[Literal["pulse", "host"], typer.Argument(help="Who is to lead.")],
    url: Url = DEFAULT_URL,
    servo: ServoName = None,
    key: Key = None,
    as_json: AsJson = False,
) -> None:
    """Let the pulse at the input lead, which may move the servo at once, or take the lead back."""
    with connected(url, key) as client:
        result(chosen(client, servo).lead(source), as_json, state_line)


def stop(
    category: Annotated[
        int, typer.Option(min=0, max=2, help="0: drive off at once. 1: ramp down, then off. 2: ramp down, keep drive.")
    ] = 1,
    url: Url = DEFAULT_URL,
    servo: ServoName = None,
    key: Key = None,
    as_json: AsJson = False,
) -> None:
    """Stop. This is software: fit a hardware emergency stop that removes motor power."""
    with connected(url, key) as client:
        result(chosen(client, servo).stop(category), as_json, state_line)


def home(
    no_wait: NoWait = False, url: Url = DEFAULT_URL, servo: ServoName = None, key: Key = None, as_json: AsJson = False
) -> None:
    """Find the home mark."""
    with connected(url, key) as client, progress_shown(as_json) as progress:
        result(chosen(client, servo).home(wait=not no_wait, progress=progress), as_json, motion_line)


def move(
    angle_deg: Annotated[float, typer.Argument(help="Where to, in degrees; with --by, how far.", metavar="ANGLE")],
    by: Annotated[bool, typer.Option("--by", help="Go by the angle, not to it.")] = False,
    speed: Annotated[float | None, typer.Option(help="Highest speed, °/s.")] = None,
    duration: Annotated[float | None, typer.Option(help="Take exactly so long, s.")] = None,
    torque: Annotated[float | None, typer.Option(help="Torque bound of this motion, N·m.")] = None,
    when_busy: Annotated[
        Literal["replace", "queue", "refuse"], typer.Option(help="With a motion running.")
    ] = "replace",
    no_wait: NoWait = False,
    url: Url = DEFAULT_URL,
    servo: ServoName = None,
    key: Key = None,
    as_json: AsJson = False,
) -> None:
    """Go to an angle and wait until it is there. Ctrl-C stops it."""
    target = {"by": angle_deg} if by else {"to": angle_deg}
    options: dict[str, Any] = {
        "speed_deg_s": speed,
        "duration_s": duration,
        "torque_nm": torque,
        "when_busy": when_busy,
    }
    with connected(url, key) as client, progress_shown(as_json) as progress:
        motion = chosen(client, servo).move(**target, wait=not no_wait, progress=progress, **options)
        result(motion, as_json, motion_line)


def turn(
    speed_deg_s: Annotated[float, typer.Argument(help="Speed in °/s; its sign is the direction.", metavar="SPEED")],
    for_s: Annotated[float | None, typer.Option("--for", help="For so many seconds.")] = None,
    turns: Annotated[float | None, typer.Option(help="By so many turns of the output.")] = None,
    no_wait: NoWait = False,
    url: Url = DEFAULT_URL,
    servo: ServoName = None,
    key: Key = None,
    as_json: AsJson = False,
) -> None:
    """Rotate at a held speed; without --for or --turns until stopped."""
    with connected(url, key) as client, progress_shown(as_json) as progress:
        motion = chosen(client, servo).turn(speed_deg_s, for_s=for_s, turns=turns, wait=not no_wait, progress=progress)
        result(motion, as_json, motion_line)


def motion_line(motion: dict[str, Any]) -> str:
    """One line that says what became of a motion."""
    line = f"{motion['servo']}: {motion['kind']} {motion['state']}"
    if motion["end_deg"] is not None:
        line += f" at {motion['end_deg']:.2f}°"
    if motion["actual_s"] is not None:
        line += f" after {motion['actual_s']:.1f} s"
    elif motion["planned_s"] is not None:
        line += f", planned {motion['planned_s']:.1f} s"
    return line
