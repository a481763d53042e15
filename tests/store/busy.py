"""A busy store: what a service does all day, with a list of what was acknowledged; used by tests and by the proof."""

from __future__ import annotations

import contextlib
import random
from dataclasses import dataclass, field

from sqlalchemy import text

from geartender.errors import NotStored, Unknown
from geartender.store import Run, RunStep, Store
from geartender.store.journal_rows import Search


@dataclass
class Acknowledged:
    """What the store has said to have kept."""

    revisions: dict[str, int] = field(default_factory=dict)
    states: dict[str, int] = field(default_factory=dict)
    steps: dict[str, int] = field(default_factory=dict)
    entries: set[str] = field(default_factory=set)
    """Texts of entries whose intent was acknowledged."""
    results: set[str] = field(default_factory=set)
    """Texts of entries whose result was acknowledged."""
    moved: list[str] = field(default_factory=list)
    """Texts of the motions that were really made."""
    refused: int = 0


async def busy(store: Store, dice: random.Random, acts: int, done: Acknowledged, tag: str = "") -> None:
    """Some acts, drawn by chance."""
    for number in range(acts):
        act = dice.choice((_motion, _motion, _document, _state, _run))
        try:
            await act(store, dice, f"{tag}{number}", done)
        except NotStored:
            done.refused += 1


async def _motion(store: Store, dice: random.Random, name: str, done: Acknowledged) -> None:
    """A person's motion or one of a run: the intent, then the motion, then the result."""
    by_itself = dice.random() < 0.5
    words = f"motion {name}"
    intent = await store.journal.intend(
        "move", words, who="Anna", via="run" if by_itself else "person", servo="vent", motion=name
    )
    if intent.id is not None:
        done.entries.add(words)
    done.moved.append(words)
    trace = [{"t_s": -number / 30, "angle_deg": 12.5} for number in range(60)] if dice.random() < 0.1 else []
    with contextlib.suppress(NotStored):
        await store.journal.settle(intent, "done", figures={"end_deg": 12.5}, trace=trace)
        done.results.add(words)


async def _document(store: Store, dice: random.Random, _: str, done: Acknowledged) -> None:
    name = f"d{dice.randrange(3)}"
    body = {"steps": [{"do": "move", "to_deg": dice.randrange(90)}] * dice.randrange(1, 40)}
    try:
        expected = (await store.document("sequence", name)).revision
    except Unknown:
        expected = None
    document = await store.put_document("sequence", name, body, expected)
    done.revisions[name] = document.revision


async def _state(store: Store, dice: random.Random, _: str, done: Acknowledged) -> None:
    name, value = f"s{dice.randrange(3)}", dice.randrange(10**9)
    before = done.states.pop(name, None)
    await store.set_state("fired", name, {"value": value, "before": before})
    done.states[name] = value


async def _run(store: Store, dice: random.Random, name: str, done: Acknowledged) -> None:
    run = f"run {name}"
    await store.put_run(Run(run, "morning", "vent", "running", "Anna", store._wall()))
    done.steps[run] = 0
    for position in range(dice.randrange(4)):
        await store.put_run_step(RunStep(run, position, {"do": "move", "result": "done"}))
        done.steps[run] = position + 1


async def check(store: Store, done: Acknowledged) -> None:
    """Everything that was acknowledged is there; whatever had no end is unknown; the database is sound."""
    assert await store.read(lambda session: session.scalar(text("PRAGMA integrity_check"))) == "ok"
    for name, revision in done.revisions.items():
        assert (await store.document("sequence", name)).revision >= revision
    states = await store.states("fired")
    for name, value in done.states.items():
        assert value in (states[name]["value"], states[name]["before"]), name
    for run, steps in done.steps.items():
        assert len(await store.run_steps(run)) >= steps
        assert (await store.get_run(run)).state == "unknown"
    entries = (await store.journal.page(Search(kinds=("move",)), limit=10_000)).entries
    texts = [entry.note.text for entry in entries]
    assert len(texts) == len(set(texts)), "an entry is there twice"
    assert done.entries <= set(texts)
    results = {entry.note.text: entry.result for entry in entries}
    assert all(results[words] == "done" for words in done.results)
    assert set(results.values()) <= {"done", "unknown", "refused"}
