"""demo, serve, simulate: commands that run until they are ended."""

from __future__ import annotations

import tempfile
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from geartender.cli.terminal import FAILED, say, stop_with

if TYPE_CHECKING:
    from geartender.api.service import Service, Simulation
    from geartender.config import Settings

DEMO_SITE = {"zone": "Europe/Lisbon", "latitude": 38.7, "longitude": -9.1, "clock": "trusted"}
"""Where the demo's glasshouse stands: somewhere with a sun and a summer time."""

PlantFile = Annotated[
    Path | None, typer.Option("--plant", help="Mechanics of the simulated servo (TOML); else derived from its sheet.")
]
Seed = Annotated[int, typer.Option(help="Seed of everything random in the simulation.")]
TruthFile = Annotated[Path | None, typer.Option("--truth", help="Write what really happens, at 100 Hz, as CSV.")]


def add_to(app: typer.Typer) -> None:
    """Put these commands into the application."""
    for command in (demo, serve, simulate):
        app.command()(command)


def demo(
    host: Annotated[
        str, typer.Option(help="Address to listen on; on any but this machine's own, phones have to be paired.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="TCP port; 0 takes a free one.", min=0, max=65535)] = 8350,
    data: Annotated[Path | None, typer.Option(help="Folder to keep documents in; else nothing is kept.")] = None,
    plant: PlantFile = None,
    seed: Seed = 0,
    truth: TruthFile = None,
) -> None:
    """Start the service with a simulated servo, `vent`. Nothing to configure."""
    from geartender.access import is_loopback
    from geartender.cli.simulator_child import simulator
    from geartender.config import parse_settings

    sheet = ridge_vent()
    with ExitStack() as stack:
        link = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="geartender-"))) / "vent"
        service = {"host": host, "port": port} | ({} if data is None else {"data_dir": data})
        servo = {"name": "vent", "port": str(link), "build": sheet}
        settings = parse_settings({"service": service, "site": DEMO_SITE, "servo": [servo]})
        arguments = ["--link", str(link), "--build", str(sheet), "--seed", str(seed)]
        for name, file in (("--plant", plant), ("--truth", truth)):
            arguments += [] if file is None else [name, str(file)]
        _serve(settings, stack.enter_context(simulator(arguments)), anybody=is_loopback(host))


def serve(config: Annotated[Path, typer.Option("--config", help="The configuration (TOML).", metavar="FILE")]) -> None:
    """Start the service for the servos of a configuration."""
    from geartender.config import load_settings

    _serve(load_settings(config), None, anybody=False)


def simulate(
    link: Annotated[Path, typer.Option(help="Name to give the pseudo-terminal.", metavar="PATH")],
    build: Annotated[Path, typer.Option(help="Build sheet of the simulated servo.", metavar="FILE")],
    plant: PlantFile = None,
    seed: Seed = 0,
    truth: TruthFile = None,
    micropython: Annotated[
        bool, typer.Option("--micropython", help="Run the firmware under the MicroPython interpreter.")
    ] = False,
) -> None:
    """Run the firmware on simulated mechanics behind a pseudo-terminal, until ended.

    Reads commands on standard input: jam, free, load NM, push NM, weight NM, unplug S, reset, supply V, pulse US, pulse off,
    hand TURNS, drop-edges P, truth.
    """
    from geartender.simulator.process import run

    run(link, build, plant, seed, truth, micropython)


def ridge_vent() -> Path:
    """The build sheet of the demo, as it lies in the package."""
    return Path(__file__).parents[1] / "build" / "ridge_vent.toml"


def _serve(settings: Settings, simulation: Simulation | None, *, anybody: bool) -> None:
    """Bind, build the application for the true port, run it; the page's address on stdout once it answers."""
    import os
    import sys
    import time

    from geartender.api.app import create_app
    from geartender.api.serving import inherited_socket, listening_socket, run_app
    from geartender.caution import CAUTION
    from geartender.cli.invitation import invite_the_first
    from geartender.cli.machine import left_for_commands
    from geartender.logs import set_up_logs

    to_journal = "JOURNAL_STREAM" in os.environ
    set_up_logs(settings.log.format, settings.log.level, sys.stderr, time.monotonic, priorities=to_journal)
    os.umask(0o077)  # what the service keeps is for its own user
    say(CAUTION)
    bound = inherited_socket(os.environ) or listening_socket(settings.service.host, settings.service.port)
    service = settings.service.model_copy(update={"port": bound.getsockname()[1]})
    app = create_app(settings.model_copy(update={"service": service}), sim=simulation, anybody=anybody)

    running: Service = app.state.service
    with ExitStack() as stack:

        def ready() -> None:
            key = running.admissions.key_at_the_machine
            stack.enter_context(left_for_commands(service.data_dir, running.local_url, key))
            invite_the_first(running, to_journal=to_journal)
            print(running.network_url, flush=True)

        ended_well = run_app(app, bound, ready, service.proxies)
    if not ended_well:
        stop_with("The service has ended by a mistake; see above.", FAILED)
