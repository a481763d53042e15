"""Opening: the tables brought up to date with a copy first, one opener at a time, settings as they should be."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from geartender.store import Store
from geartender.store import migrate as migrate_module
from geartender.store.migrate import HEAD, MIGRATIONS, alembic_config, upgrade
from geartender.store.tables import Base
from geartender.store.trouble import StoreInUse, StoreTooNew
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.store.kit import address, on_store, opened


def test_the_migrations_lead_to_the_tables_as_they_are(url: str) -> None:
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    engine = create_engine(url)
    upgrade(engine)
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True, "target_metadata": Base.metadata})
        assert compare_metadata(context, Base.metadata) == []
        assert connection.scalar(text("SELECT version_num FROM alembic_version")) == HEAD
    engine.dispose()

    async def scenario(store: Store) -> None:
        await store.put_document("sequence", "morning", {}, None)

    on_store(scenario, url)


def test_the_newest_migration_is_the_one_that_the_tables_name() -> None:
    from alembic.script import ScriptDirectory

    engine = create_engine("sqlite://")
    with engine.connect() as connection:
        assert ScriptDirectory.from_config(alembic_config(connection)).get_heads() == [HEAD]
    engine.dispose()


def test_an_older_database_is_copied_first_and_keeps_what_it_has(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A migration of the future, on a database of today with data in it."""
    later = tmp_path / "migrations"
    (later / "versions").mkdir(parents=True)
    for file in (*MIGRATIONS.glob("*.*"), *MIGRATIONS.glob("versions/*.py")):
        (later / file.relative_to(MIGRATIONS)).write_text(file.read_text())
    (later / "versions" / "9999_later.py").write_text(
        f"from alembic import op\nimport sqlalchemy as sa\nrevision = '9999'\ndown_revision = '{HEAD}'\n"
        "def upgrade():\n    op.add_column('states', sa.Column('later', sa.Integer()))\n"
    )
    file = tmp_path / "a.db"

    async def before(store: Store) -> None:
        await store.set_state("fired", "dawn", {"at": 1})

    async def after(store: Store) -> None:
        assert store.trouble is None
        assert await store.state("fired", "dawn") == {"at": 1}
        assert await store.read(lambda session: session.scalar(text("SELECT later FROM states"))) is None

    on_store(before, address(file))
    monkeypatch.setattr(migrate_module, "MIGRATIONS", later)
    monkeypatch.setattr(migrate_module, "HEAD", "9999")
    monkeypatch.setattr(upgrade, "__defaults__", ("9999",))
    on_store(after, address(file))
    copy = sqlite3.connect(tmp_path / "a.db.before-9999")
    assert copy.execute("SELECT version_num FROM alembic_version").fetchall() == [(HEAD,)]
    assert copy.execute("SELECT name FROM states").fetchall() == [("dawn",)]
    copy.close()


def test_alembic_is_not_imported_when_there_is_nothing_to_do(tmp_path: Path) -> None:
    import subprocess
    import sys

    program = (
        "import sys; from tests.store.kit import on_store, address; from pathlib import Path\n"
        "async def nothing(store): assert store.trouble is None\n"
        f"for _ in range(2): on_store(nothing, address(Path({str(tmp_path / 'a.db')!r})))\n"
        "assert 'alembic' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", program], check=True, timeout=60)


def test_a_database_of_a_newer_version_stops_the_start(url: str) -> None:
    async def newer(store: Store) -> None:
        await store.write(lambda session: session.execute(text("UPDATE alembic_version SET version_num = 'f00d'")))

    async def older(_: Store) -> None:
        raise AssertionError("it was opened")

    on_store(newer, url)
    with pytest.raises(StoreTooNew, match="newer version"):
        on_store(older, url)


def test_a_second_opener_is_turned_away_and_the_first_goes_on(url: str) -> None:
    async def main(world: World) -> None:
        async with opened(url, world) as first:
            second = Store(url, world)
            with pytest.raises(StoreInUse):
                await second.open()
            await second.close()
            await first.set_state("fired", "dawn", {})
        async with opened(url, world) as third:
            assert await third.state("fired", "dawn") == {}

    run_virtual(main)


def test_sqlite_keeps_what_it_has_confirmed(tmp_path: Path) -> None:
    async def scenario(store: Store) -> None:
        async def setting(name: str) -> object:
            return await store.read(lambda session: session.scalar(text(f"PRAGMA {name}")))

        assert await setting("journal_mode") == "wal"
        assert await setting("synchronous") == 2
        assert await setting("foreign_keys") == 1
        assert await setting("busy_timeout") == 5000

    on_store(scenario, address(tmp_path / "a.db"))
