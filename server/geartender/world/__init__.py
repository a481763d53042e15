"""The one source of time, chance and serial bytes, handed in by whoever puts the service together.

Nothing below the composition root reads a clock, draws a random number or opens a port by itself. So the whole service
can run in the real world (`real_world`) or in a seeded one on virtual time (`geartender.world.virtual`).
"""

from __future__ import annotations

import asyncio
import os
import random
import secrets
import shutil
import socket
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from geartender.link.port import Opener, SerialOpener
from geartender.world.here import address
from geartender.world.post import post
from geartender.world.supervisor import Supervisor
from geartender.world.synchronized import clock_synchronized
from geartender.world.worker import ThreadWorker, Worker


def running_loop_time() -> float:
    """Seconds on the clock of the running event loop; it never goes back."""
    return asyncio.get_running_loop().time()


def utc_now() -> datetime:
    """Wall clock, UTC."""
    return datetime.now(UTC)


def free_bytes(folder: Path) -> int:
    """Bytes that are free for us in the file system of a folder. Raises OSError."""
    return shutil.disk_usage(folder).free


@dataclass(frozen=True)
class World:
    """Where a service lives: its clocks, its dice, its serial ports and its disk."""

    random: random.Random
    secret_bytes: Callable[[int], bytes] = secrets.token_bytes
    """So many random bytes that nobody can foretell, for keys and codes."""
    monotonic: Callable[[], float] = running_loop_time
    wall: Callable[[], datetime] = utc_now
    opener: Callable[[str], Opener] = field(default=SerialOpener)
    """Gives the opener of the port of that name; opening nothing yet."""
    clock_right: Callable[[], bool] = clock_synchronized
    """Whether the wall clock is known to be right."""
    worker: Callable[[str], Worker] = field(default=ThreadWorker)
    """Makes a place of that name for slow work, such as that of a disk."""
    free_bytes: Callable[[Path], int] = free_bytes
    """Bytes free in the file system of a folder."""
    host_name: Callable[[], str] = socket.gethostname
    """The name of this machine."""
    address: Callable[[], str] = address
    """The address under which other machines of its network reach this one."""
    post: Callable[[str, bytes, Mapping[str, str]], Awaitable[int]] = post
    """Sends a POST somewhere else and gives the status of the answer. Raises OSError when there is none."""
    supervisor: Supervisor = field(default_factory=Supervisor)
    """Whoever watches over the process and starts it again."""


def real_world() -> World:
    """The world of this machine: its clocks, its serial ports, the operating system's chance, and who started the process."""
    return World(random=random.SystemRandom(), supervisor=Supervisor.of(os.environ))
