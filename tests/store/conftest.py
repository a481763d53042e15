"""The same tests on SQLite and on a real PostgreSQL."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.store.cluster import Cluster, cluster
from tests.store.kit import address


@pytest.fixture(scope="session")
def postgresql() -> Iterator[Cluster]:
    with cluster() as running:
        yield running


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The address of an empty database: each test that asks for it runs on both kinds."""
    if request.param == "sqlite":
        return address(tmp_path / "a.db")
    running: Cluster = request.getfixturevalue("postgresql")
    return running.fresh()
