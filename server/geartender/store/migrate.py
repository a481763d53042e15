"""Brings the tables up to date before anything uses them. alembic is imported only when there is something to do.

A database that is new gets the tables as they are now; an older one is copied to a file beside it first, then changed step by step.
"""

from __future__ import annotations

import logging
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, Engine, inspect, text

from geartender.store.tables import Base
from geartender.store.trouble import StoreTooNew

if TYPE_CHECKING:
    from alembic.config import Config

log = logging.getLogger(__name__)

HEAD = "0002"
"""The revision that `tables.py` describes; a test holds it against the migrations."""

MIGRATIONS = Path(__file__).parent / "migrations"


def bring_up_to_date(engine: Engine, file: Path | None) -> None:
    """Make or change the tables. Raises StoreTooNew for a revision that this version does not know."""
    with engine.begin() as connection:
        stored = revision(connection)
        if stored is None:
            _make(connection)
    if stored in (None, HEAD):
        return
    _require_known(stored)
    if file is not None:
        copy = file.with_name(f"{file.name}.before-{HEAD}")
        log.info("store: copying %s to %s before its tables are changed", file.name, copy.name)
        copy.unlink(missing_ok=True)
        copy_database(engine, copy)
    upgrade(engine)


def revision(connection: Connection) -> str | None:
    """The revision of the tables; None when there are none yet."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    found: str | None = connection.scalar(text("SELECT version_num FROM alembic_version"))
    return found


def upgrade(engine: Engine, to: str = HEAD) -> None:
    """Change the tables step by step."""
    from alembic import command

    with engine.begin() as connection:
        command.upgrade(alembic_config(connection), to)


def alembic_config(connection: Connection) -> Config:
    """alembic's configuration, on a connection of ours."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.attributes["connection"] = connection
    return config


def copy_database(engine: Engine, to: Path) -> None:
    """Copy a whole SQLite database while it is open. It cannot be done in a transaction, so not through the engine's own."""
    raw = engine.raw_connection()
    try:
        raw.cursor().execute("VACUUM INTO ?", (str(to),))
    finally:
        raw.close()


def _make(connection: Connection) -> None:
    Base.metadata.create_all(connection)
    connection.execute(text("CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL PRIMARY KEY)"))
    connection.execute(text("INSERT INTO alembic_version VALUES (:head)"), {"head": HEAD})


def _require_known(stored: str) -> None:
    known = {path.name.split("_")[0] for path in (MIGRATIONS / "versions").glob("*.py")}
    if stored not in known:
        raise StoreTooNew(
            f"The database was written by a newer version of this program (revision {stored}, known here: {HEAD}). "
            "Install that version, or restore a backup of this one."
        )
