from geartender.api.examples import TRUTH
from geartender.errors import Invalid
from tests.api.kit import Kit, run

PATH = "/api/v1/simulation"


class Mechanics:
    """A simulation that writes down its commands."""

    def __init__(self) -> None:
        self.commands: list[str] = []

    async def truth(self) -> dict[str, float]:
        return TRUTH

    async def command(self, line: str) -> None:
        self.commands.append(line)
        if line == "explode":
            raise Invalid("unknown command; give jam")


def test_the_truth_and_the_commands_of_a_demo() -> None:
    mechanics = Mechanics()

    async def test(kit: Kit) -> None:
        assert (await kit.http.get(PATH)).json() == TRUTH
        assert (await kit.http.post(PATH, json={"command": "load 0.5"})).json() == TRUTH
        refused = await kit.http.post(PATH, json={"command": "explode"})
        assert (refused.status_code, refused.json()["detail"]) == (422, "unknown command; give jam")

    run(test, sim=mechanics)
    assert mechanics.commands == ["load 0.5", "explode"]


def test_a_command_is_one_short_line() -> None:
    mechanics = Mechanics()

    async def test(kit: Kit) -> None:
        for command in ("jam\nfree", "", "x" * 65, "j\u00e4m", "jam\r"):
            assert (await kit.http.post(PATH, json={"command": command})).status_code == 422

    run(test, sim=mechanics)
    assert mechanics.commands == []


def test_without_a_demo_there_is_none() -> None:
    async def test(kit: Kit) -> None:
        answer = await kit.http.get(PATH)
        assert (answer.status_code, answer.json()["type"]) == (404, "/problems/unknown")
        assert (await kit.http.post(PATH, json={"command": "jam"})).status_code == 404

    run(test)
