"""One archive of everything, and putting it in the place of everything: checked first, all or nothing, disarmed after."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path

import pytest

from geartender.build import build_document, parse_build, write_build
from geartender.errors import Busy
from geartender.store import Run, RunStep, Store
from geartender.store import archive as archive_module
from geartender.store.archive import ArchiveError, ArchiveWriter, read_archive
from geartender.store.journal_rows import Search
from geartender.world import World
from geartender.world.virtual import run_virtual
from tests.access.people import admissions, script, shut
from tests.api.kit import Kit, run
from tests.store.cluster import cluster
from tests.store.kit import address, opened

ZIP = {"Content-Type": "application/zip"}


async def fill(store: Store) -> None:
    await store.put_document("sequence", "morning", {"note": "air the house"}, None)
    await store.put_document("timetable", "dawn", {"sequence": "morning"}, None)
    await store.put_document("measured", "vent", {"backlash_deg": 0.4}, None)
    await store.set_state("fired", "dawn", {"at": "2031-03-01T06:00Z"})
    await store.put_run(Run("r1", "morning", "vent", "running", "Anna", store._wall(), detail={"planned_s": 4.0}))
    await store.put_run_step(RunStep("r1", 0, {"do": "home"}))
    for number in range(25):
        store.journal.tell("stop", f"stop {number}", servo="vent")
    store.journal.tell("fault", "too much", servo="vent", cause="overload", trace=[{"t_s": -0.1}])


async def archive_of(store: Store) -> bytes:
    writer = ArchiveWriter({"made_at": "2031-03-01"})
    writer.text("sheets/vent.toml", "")
    parts = [await store.read(step) for step in writer.steps()]
    return b"".join(parts)


def changed(archive: bytes, name: str, content: bytes | None) -> bytes:
    """The archive with a file replaced, or left out."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(archive)) as before, zipfile.ZipFile(out, "w") as after:
        for member in before.namelist():
            data = before.read(member) if member != name else content
            if data is not None:
                after.writestr(member, data)
    return out.getvalue()


def test_what_was_backed_up_is_there_again_and_nothing_else() -> None:
    async def scenario(kit: Kit) -> None:
        store: Store = kit.app.state.service.store
        await fill(store)
        archive = (await kit.http.get("/api/v1/backup")).content
        await store.put_document("sequence", "morning", {"note": "changed"}, 1)
        await store.put_document("sequence", "evening", {}, None)
        store.journal.tell("stop", "after the backup")
        answer = await kit.http.put("/api/v1/backup", content=archive, headers=ZIP)
        assert answer.status_code == 200, answer.text
        assert (answer.json()["documents"], answer.json()["entries"], answer.json()["sheets"]) == (3, 26, ["vent"])
        morning = await store.document("sequence", "morning")
        assert morning.body == {"note": "air the house"}
        assert morning.revision > 2, "an ETag of before must not fit"
        assert [one.name for one in await store.documents("sequence")] == ["morning"]
        assert await store.states("fired") == {"dawn": {"at": "2031-03-01T06:00Z"}}
        assert (await store.get_run("r1")).state == "unknown"
        assert [step.body for step in await store.run_steps("r1")] == [{"do": "home"}]
        texts = [entry.note.text for entry in (await store.journal.page(Search(), limit=100)).entries]
        assert "after the backup" not in texts
        assert texts[0].startswith("Restored from a backup of 2031-03-01")
        fault = (await store.journal.page(Search(kinds=("fault",)))).entries[0]
        assert await store.journal.trace(fault.id) == [{"t_s": -0.1}]
        assert ("disarm" in kit.servo.names(), "replace_build" in kit.servo.names()) == (True, True)

    run(scenario)


def test_after_a_restore_nothing_starts_by_itself_until_a_person_has_looked() -> None:
    async def scenario(kit: Kit) -> None:
        store: Store = kit.app.state.service.store
        archive = (await kit.http.get("/api/v1/backup")).content
        await kit.http.put("/api/v1/backup", content=archive, headers=ZIP)
        with pytest.raises(Busy, match="Nothing starts by itself"):
            store.require_keeping()
        (notice,) = (await kit.http.get("/api/v1/notices")).json()["items"]
        assert (await kit.http.delete(f"/api/v1/notices/{notice['id']}")).status_code == 204
        store.require_keeping()

    run(scenario)


def test_the_archive_holds_the_sheets_and_the_configuration_without_secrets() -> None:
    async def scenario(kit: Kit) -> None:
        with zipfile.ZipFile(io.BytesIO((await kit.http.get("/api/v1/backup")).content)) as archive:
            assert archive.testzip() is None
            assert archive.read("sheets/vent.toml").decode() == write_build(kit.servo.sheet)
            assert json.loads(archive.read("configuration.json"))["site"]["zone"] == "UTC"
            assert set(json.loads(archive.read("checksums.json"))) == set(archive.namelist()) - {"checksums.json"}

    run(scenario)


def test_an_archive_that_is_not_whole_changes_nothing() -> None:
    async def scenario(kit: Kit) -> None:
        store: Store = kit.app.state.service.store
        await fill(store)
        archive = (await kit.http.get("/api/v1/backup")).content
        sheet = build_document(kit.servo.sheet) | {"motor": {"supply_v": -1}}
        bad = {
            "no archive": b"PK no",
            "half of one": archive[: len(archive) // 2],
            "another format": changed(archive, "about.json", b'{"format": 99}'),
            "without the journal": changed(archive, "journal.jsonl", None),
            "a changed row": changed(archive, "documents.jsonl", b"{}\n"),
            "without sums": changed(archive, "checksums.json", None),
            "a wrong sheet": changed(archive, "sheets/vent.toml", json.dumps(sheet).encode()),
        }
        for what, content in bad.items():
            answer = await kit.http.put("/api/v1/backup", content=content, headers=ZIP)
            assert (answer.status_code, "Nothing was changed" in answer.text) == (422, True), what
        assert (await kit.http.put("/api/v1/backup", json={})).status_code == 415
        assert (await store.document("sequence", "morning")).body == {"note": "air the house"}
        assert len((await store.journal.page(Search(), limit=100)).entries) == 26
        assert kit.servo.names() == []

    run(scenario)


def test_a_row_that_makes_no_sense_is_told_with_its_place() -> None:
    async def main(world: World) -> None:
        async with opened("sqlite://", world) as store:
            await store.put_document("sequence", "morning", {}, None)
            archive = await archive_of(store)
        row = b'{"kind": "sequence", "name": "x", "revision": "first", "body": {}, "changed_at": 0}\n'
        import hashlib

        sums = json.loads(zipfile.ZipFile(io.BytesIO(archive)).read("checksums.json"))
        sums["documents.jsonl"]["sha256"] = hashlib.sha256(row).hexdigest()
        forged = changed(changed(archive, "documents.jsonl", row), "checksums.json", json.dumps(sums).encode())
        with pytest.raises(ArchiveError, match="row 1 of documents makes no sense: 'first' is not of the right kind"):
            read_archive(io.BytesIO(forged))

    run_virtual(main)


def test_a_damaged_database_is_put_beside_and_the_backup_in_its_place(tmp_path: Path) -> None:
    file = tmp_path / "a.db"

    async def before(world: World) -> bytes:
        async with opened(address(tmp_path / "other.db"), world) as store:
            await fill(store)
            return await archive_of(store)

    archive = run_virtual(before)
    file.write_bytes(b"worn out " * 2000)

    async def after(world: World) -> None:
        async with opened(address(file), world) as store:
            assert store.trouble == "damaged"
            await store.restore(read_archive(io.BytesIO(archive)))
            assert store.trouble is None
            assert (await store.document("sequence", "morning")).body == {"note": "air the house"}

    run_virtual(after)
    assert (tmp_path / "a.db.before-restore").read_bytes().startswith(b"worn out")


def test_phones_and_keys_come_back_with_a_backup_but_none_that_was_revoked_since() -> None:
    async def scenario(kit: Kit) -> None:
        mine, old = await script(kit, name="mine"), await script(kit, name="old")
        archive = (await kit.http.get("/api/v1/backup", headers=mine)).content
        register = admissions(kit).register
        await admissions(kit).revoke(register.listed()[1].id, "the test")
        new = await script(kit, name="new")
        answer = await kit.http.put("/api/v1/backup", content=archive, headers={**ZIP, **mine})
        assert answer.json()["let_in"] == []
        codes = [(await kit.http.get("/api/v1/me", headers=one)).status_code for one in (mine, old, new)]
        assert codes == [200, 401, 200]
        archives.append(archive)
        keys.append(mine)

    async def on_a_fresh_card(kit: Kit) -> None:
        boss = await script(kit, name="boss")
        answer = await kit.http.put("/api/v1/backup", content=archives[0], headers={**ZIP, **boss})
        assert answer.json()["let_in"] == ["mine", "old"]
        assert (await kit.http.get("/api/v1/me", headers=keys[0])).json()["name"] == "mine"
        assert (await kit.http.get("/api/v1/me", headers=boss)).json()["name"] == "boss"
        (notice,) = (await kit.http.get("/api/v1/notices", headers=boss)).json()["items"]
        assert "Let in again: mine, old." in notice["text"]

    archives: list[bytes] = []
    keys: list[dict[str, str]] = []
    shut(scenario)
    shut(on_a_fresh_card, seed=7)


def test_an_archive_of_before_there_were_keys_is_read_all_the_same() -> None:
    async def scenario(kit: Kit) -> None:
        await fill(kit.app.state.service.store)
        archive = (await kit.http.get("/api/v1/backup")).content
        sums = json.loads(zipfile.ZipFile(io.BytesIO(archive)).read("checksums.json"))
        del sums["credentials.jsonl"]
        older = changed(changed(archive, "credentials.jsonl", None), "checksums.json", json.dumps(sums).encode())
        answer = await kit.http.put("/api/v1/backup", content=older, headers=ZIP)
        assert (answer.status_code, answer.json()["documents"]) == (200, 3)

    run(scenario)


@pytest.mark.postgresql
def test_an_archive_goes_from_one_kind_of_database_to_the_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(archive_module, "AT_ONCE", 7)

    async def main(world: World) -> None:
        with cluster() as running:
            async with (
                opened(address(tmp_path / "a.db"), world) as sqlite,
                opened(running.fresh(), world) as postgresql,
            ):
                await fill(sqlite)
                for one, other in ((sqlite, postgresql), (postgresql, sqlite)):
                    await other.restore(read_archive(io.BytesIO(await archive_of(one))))
                    other.journal.tell("stop", "one more")
                    assert other.journal.waiting == 0
                texts = [entry.note.text for entry in (await sqlite.journal.page(Search(), limit=100)).entries]
                assert texts[:3] == ["one more", "one more", "too much"]
                assert len(texts) == 28

    run_virtual(main)


def test_sheets_of_servos_that_are_not_here_are_named_and_left_out() -> None:
    async def scenario(kit: Kit) -> None:
        kit.app.state.service.servos["louvre"] = kit.servo
        archive = (await kit.http.get("/api/v1/backup")).content
        del kit.app.state.service.servos["louvre"]
        answer = (await kit.http.put("/api/v1/backup", content=archive, headers=ZIP)).json()
        assert (answer["sheets"], answer["unknown_servos"]) == (["vent"], ["louvre"])
        assert parse_build(write_build(kit.servo.sheet)) == kit.servo.sheet

    run(scenario)
