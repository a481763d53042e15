"""The command `geartender`. Heavy imports stand inside the commands, so that --help is quick."""

from __future__ import annotations

import signal
import sys

import typer

from geartender.cli import access, bench, board, driving, firmware, keeping, running, sequences, sheets, trains
from geartender.cli.terminal import FAILED, INTERRUPTED, exit_code, explain, say
from geartender.errors import GeartenderError

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # plain help: laying it out with colours costs twice as long as everything else
    help="Works out, drives and guards a home-built geared servo.",
    epilog="Exit codes: 0 done, 1 failed, 2 usage, 3 service unreachable, 4 refused, 5 timed out, 6 faulted, 130 interrupted.",
)
running.add_to(app)
driving.add_to(app)
sheets.add_to(app)
trains.add_to(app)
sequences.add_to(app)
bench.add_to(app)
keeping.add_to(app)
firmware.add_to(app)
board.add_to(app)
access.add_to(app)


def main() -> None:
    """Run the command line; an error becomes one plain message and its exit code."""
    # A shell script starts its background commands deaf to interrupts; whoever interrupts one of ours wants the lever to stop.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        app()
    except GeartenderError as error:
        say(explain(error))
        sys.exit(exit_code(error))
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)
    except OSError as error:
        say(f"{error.filename or 'geartender'}: {error.strerror or error}")
        sys.exit(FAILED)


if __name__ == "__main__":
    main()
