"""Whether a database that nobody uses just now is in order; changes nothing in it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import create_engine, inspect, make_url, text
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.pool import NullPool

CONNECT_S = 5
"""s for a server to answer."""


@dataclass(frozen=True, slots=True)
class Checkup:
    """A database by a name without its password, what is wrong with it, and whether it is still to be made."""

    name: str
    trouble: str | None
    is_new: bool


def mistake_in(url: str) -> str | None:
    """What is wrong with the address of a database, in plain words; None when it can be used. Connects to nothing."""
    try:
        create_engine(url, poolclass=NullPool)
    except ModuleNotFoundError as error:
        return f"the package {error.name} is missing; install geartender[postgresql]"
    except SQLAlchemyError as error:
        return f"{str(error).splitlines()[0]}; write it like postgresql+psycopg://user@host/geartender"
    return None


def check_up(url: str) -> Checkup:
    """Look at a database. Raises nothing: what is wrong is in the answer."""
    parsed = make_url(url)
    name = parsed.render_as_string(hide_password=True)
    arguments: dict[str, object] = {"connect_timeout": CONNECT_S}
    is_file = parsed.get_backend_name() == "sqlite"
    if is_file:
        file = Path(parsed.database or "")
        if not parsed.database or not file.exists():
            return Checkup(name, None, is_new=True)
        if (log := file.with_name(f"{file.name}-wal")).exists() and log.stat().st_size:
            # Only the next start may put that together; read by another user it would leave files that lock the service out.
            return Checkup(
                f"{name} (left in the midst of something, which the next start puts right)", None, is_new=False
            )
        url, arguments = f"sqlite:///file:{file}?immutable=1&uri=true", {}
    try:
        engine = create_engine(url, poolclass=NullPool, connect_args=arguments)
        with engine.connect() as connection:
            if is_file and (found := connection.scalar(text("PRAGMA quick_check(1)"))) != "ok":
                return Checkup(name, f"it is damaged ({found})", is_new=False)
            return Checkup(name, None, is_new=not inspect(connection).has_table("alembic_version"))
    except (SQLAlchemyError, ImportError, OSError) as error:
        return Checkup(name, str(getattr(error, "orig", None) or error).splitlines()[0], is_new=False)
