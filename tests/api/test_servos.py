import pytest

from geartender.errors import Disarmed, Faulted, HelmHeld, Offline, PlanError, QueueFull
from tests.api.kit import Kit, run


def test_lists_and_shows_the_servos() -> None:
    async def test(kit: Kit) -> None:
        listing = (await kit.http.get("/api/v1/servos")).json()
        assert listing["next"] is None
        assert [item["name"] for item in listing["items"]] == ["vent"]
        answer = await kit.http.get("/api/v1/servos/vent")
        assert answer.json() == listing["items"][0]
        assert answer.headers["cache-control"] == "no-store"

    run(test)


def test_names_the_client_by_its_header_or_its_address() -> None:
    async def test(kit: Kit) -> None:
        named = await kit.http.post("/api/v1/servos/vent/arm", headers={"Geartender-Client": "phone-1"})
        assert named.json()["run"] == "phone-1"
        unnamed = await kit.http.post("/api/v1/servos/vent/arm")
        assert unnamed.json()["run"] == "@127.0.0.1"
        odd = await kit.http.post("/api/v1/servos/vent/arm", headers={"Geartender-Client": "x" * 65})
        assert (odd.status_code, odd.json()["type"]) == (422, "/problems/invalid")

    run(test)


@pytest.mark.parametrize(
    ("error", "status", "slug"),
    [
        (Offline("gone"), 503, "offline"),
        (Disarmed("arm"), 409, "disarmed"),
        (Faulted("fault"), 409, "faulted"),
        (HelmHeld("held", holder="ada"), 409, "helm-held"),
        (QueueFull("too much"), 503, "offline"),
        (PlanError("to_deg", "too far"), 422, "invalid"),
    ],
)
def test_every_error_leaves_as_its_problem(error: Exception, status: int, slug: str) -> None:
    async def test(kit: Kit) -> None:
        kit.servo.refusal = error
        answer = await kit.http.post("/api/v1/servos/vent/arm")
        body = answer.json()
        assert answer.headers["content-type"] == "application/problem+json"
        assert (answer.status_code, body["status"], body["type"]) == (status, status, f"/problems/{slug}")
        assert body["title"]
        assert body["detail"]
        if slug == "helm-held":
            assert body["holder"] == "ada"
        assert ("retry-after" in answer.headers) == (slug == "offline")

    run(test)


def test_helm_and_override_reach_the_servo() -> None:
    async def test(kit: Kit) -> None:
        path = "/api/v1/servos/vent"
        assert (await kit.http.post(f"{path}/helm")).status_code == 200
        assert (await kit.http.post(f"{path}/helm", json={"force": True})).status_code == 200
        assert (await kit.http.delete(f"{path}/helm")).status_code == 200
        assert (await kit.http.put(f"{path}/override", json={"speed": 0.5})).status_code == 200
        assert [(call[0], *call[2:]) for call in kit.servo.calls] == [
            ("take_helm", False),
            ("take_helm", True),
            ("give_helm",),
            ("override", 0.5),
        ]
        assert (await kit.http.put(f"{path}/override", json={"speed": 1.6})).status_code == 422
        assert len(kit.servo.calls) == 4

    run(test)
