"""What lets somebody in is looked for in everything that the service says and keeps: log, journal, figures, backup, its own database."""

import io
import logging
import zipfile
from pathlib import Path

import pytest

from geartender.access.roles import Role
from tests.api.kit import ORIGIN, Kit, run

PASSPHRASE = "seven green glasshouses"
WRONG = "gt_wrong-but-still-nobodys-business-000000000"


def test_no_secret_is_in_the_log_the_journal_the_figures_a_backup_or_the_database(
    caplog: pytest.LogCaptureFixture, tmp_path: Path
) -> None:
    caplog.set_level(logging.DEBUG)
    secrets: dict[str, str] = {"passphrase": PASSPHRASE, "a wrong key": WRONG, "an offer's name": "pair="}
    said: dict[str, bytes] = {}

    async def test(kit: Kit) -> None:
        admissions = kit.app.state.service.admissions
        first, second = (admissions.invite(Role.MANAGE, "the test") for _ in range(2))
        secrets.update({"the secret of an invitation": first.secret, "of another": second.secret})
        paired = await kit.http.post(
            "/api/v1/pairing",
            json={"secret": first.secret, "name": "phone", "passphrase": PASSPHRASE},
            headers={"Origin": ORIGIN},
        )
        assert paired.status_code == 201
        secrets["a session"] = paired.headers["set-cookie"].split("=", 1)[1].split(";")[0]
        mine = {"Origin": ORIGIN, "Cookie": paired.headers["set-cookie"].split(";")[0]}
        made = await kit.http.post("/api/v1/keys", json={"name": "script", "role": "manage"}, headers=mine)
        assert made.status_code in (201, 403)  # with or without a fresh proof of who that is
        _, key = await admissions.add_key("weather", Role.MANAGE, None, None, "the test")
        secrets["a key"] = key
        by_key = {"Authorization": f"Bearer {key}"}
        for headers in (by_key, {"Authorization": f"Bearer {WRONG}"}, {"Cookie": f"geartender-8350={WRONG}"}):
            await kit.http.post("/api/v1/servos/vent/arm", headers=headers)
            await kit.http.post(f"/api/v1/pairing?secret={WRONG}", json={"secret": WRONG, "name": "x"}, headers=headers)
        said["journal"] = (await kit.http.get("/api/v1/journal", headers=by_key)).content
        said["figures"] = (await kit.http.get("/metrics", headers=by_key)).content
        said["description"] = (await kit.http.get("/api/v1/openapi.json", headers=by_key)).content
        said["who is let in"] = (await kit.http.get("/api/v1/credentials", headers=by_key)).content
        backup = await kit.http.get("/api/v1/backup", headers=by_key)
        with zipfile.ZipFile(io.BytesIO(backup.content)) as archive:
            said["backup"] = b"".join(archive.read(name) for name in archive.namelist())

    run(test, anybody=False, service={"data_dir": str(tmp_path)})
    # What asks in this test is httpx too; in the service it is kept quiet (see test_logs.py).
    ours = [record for record in caplog.records if not record.name.startswith("http")]
    said["log"] = "\n".join(record.getMessage() for record in ours).encode()
    said["database"] = b"".join(path.read_bytes() for path in tmp_path.rglob("*") if path.is_file())
    assert said["journal"].count(b"phone")
    assert len(said["database"]) > 4096
    found = [
        f"{name} in the {where}"
        for where, content in said.items()
        for name, secret in secrets.items()
        if secret.encode() in content and (name, where) != ("an offer's name", "description")
    ]
    assert found == []
