"""Documents keep what they are given, and no change of somebody else's is lost."""

import pytest

from geartender.errors import Stale, Unknown
from geartender.store import Store
from tests.store.kit import on_store


def test_a_document_is_made_once_and_found_again(url: str) -> None:
    async def scenario(store: Store) -> None:
        made = await store.put_document("sequence", "morning", {"note": "air the house"}, None)
        assert (made.revision, made.etag) == (1, '"1"')
        assert await store.document("sequence", "morning") == made
        with pytest.raises(Stale):
            await store.put_document("sequence", "morning", {}, None)

    on_store(scenario, url)


def test_a_change_names_the_revision_it_changes(url: str) -> None:
    async def scenario(store: Store) -> None:
        await store.put_document("sequence", "morning", {"note": "a"}, None)
        await store.put_document("sequence", "morning", {"note": "b"}, 1)
        with pytest.raises(Stale) as stale:
            await store.put_document("sequence", "morning", {"note": "c"}, 1)
        assert stale.value.extra["etag"] == '"2"'
        with pytest.raises(Stale):
            await store.delete_document("sequence", "morning", 1)
        assert (await store.document("sequence", "morning")).body == {"note": "b"}

    on_store(scenario, url)


def test_a_revision_is_never_used_again_after_deleting(url: str) -> None:
    async def scenario(store: Store) -> None:
        await store.put_document("sequence", "morning", {}, None)
        await store.delete_document("sequence", "morning", 1)
        for ask in (store.document("sequence", "morning"), store.delete_document("sequence", "morning", 2)):
            with pytest.raises(Unknown):
                await ask
        again = await store.put_document("sequence", "morning", {}, None)
        assert again.revision == 3

    on_store(scenario, url)


def test_documents_are_listed_by_name_within_their_kind(url: str) -> None:
    async def scenario(store: Store) -> None:
        for name in ("noon", "evening"):
            await store.put_document("sequence", name, {}, None)
        await store.put_document("timetable", "dawn", {}, None)
        assert [one.name for one in await store.documents("sequence")] == ["evening", "noon"]

    on_store(scenario, url)


def test_a_state_is_kept_renewed_and_forgotten(url: str) -> None:
    async def scenario(store: Store) -> None:
        assert await store.state("fired", "dawn") is None
        await store.set_state("fired", "dawn", {"at": "2031-03-01T06:00Z"})
        await store.set_state("fired", "dawn", {"at": "2031-03-02T06:00Z"})
        assert await store.states("fired") == {"dawn": {"at": "2031-03-02T06:00Z"}}
        await store.set_state("fired", "dawn", None)
        assert await store.state("fired", "dawn") is None

    on_store(scenario, url)
