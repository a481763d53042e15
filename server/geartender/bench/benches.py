"""The runs of the bench in this service: starting them, keeping what they found, and remembering them."""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from geartender.bench.execute import Ended, execute
from geartender.bench.listing import PROCEDURES
from geartender.bench.models import FINAL, BenchRun, BenchState, ProcedureShown
from geartender.bench.session import Session, SessionOver
from geartender.build.measured import Measured
from geartender.errors import Busy, NotStored, Refused, Stale, Unknown
from geartender.servo.motions import Who
from geartender.servo.servo import Servo
from geartender.store import Document, Store
from geartender.world import World

log = logging.getLogger(__name__)

MEASURED = "measured"
"""Kind of document of what the bench found, by servo."""
VERSION = "measured-version"
"""Kind of document of each version of it, by servo and revision."""
RUN = "bench"
"""Kind of document of runs, by id."""
RECORD = "bench-record"
"""Kind of document of raw records, by run."""

KEPT_RUNS = 40
"""Runs of a servo that are kept, with their raw records: older ones go."""

ENDING_S = 2.0
"""s for which the end of the service waits for runs: drive goes at once, the settings follow within a second."""

ID_BITS = 48


class Benches:
    """Starts runs of the bench and owns their tasks. `run` must be under way."""

    def __init__(self, store: Store, servos: Mapping[str, Servo], world: World) -> None:
        self._store = store
        self._servos = servos
        self._world = world
        self._live: dict[str, Session] = {}
        self._tasks: asyncio.TaskGroup | None = None
        self._writing = asyncio.Lock()
        self._worker = world.worker("bench")
        """Where records are worked out: numbers by the ten thousand must not hold up the beat."""

    async def run(self) -> None:
        """Own the runs for ever. Ends by cancellation only, which ends them too."""
        try:
            async with asyncio.TaskGroup() as tasks:
                self._tasks = tasks
                await asyncio.Event().wait()
        finally:
            self._tasks = None

    async def begin(self) -> None:
        """Put what was found into force, and close what the last service left open. The store must be open."""
        for document in await self._store.documents(MEASURED):
            servo = self._servos.get(document.name)
            if servo is not None:
                servo.replace_measured(read_measured(document))
        for document in await self._store.documents(RUN):
            if document.body.get("state") not in {state.value for state in FINAL}:
                reason = "the service ended while it ran; the servo was disarmed, and nothing was kept"
                body = {**document.body, "state": BenchState.STOPPED.value, "reason": reason, "question": None}
                await self._store.put_document(RUN, document.name, body, document.revision)

    async def end(self) -> None:
        """The service ends: end every run, and wait for a moment until its servo is left as it was found."""
        over = SessionOver(BenchState.STOPPED, "the service was ended")
        for session in self._live.values():
            session.end(over)
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(ENDING_S):
                await asyncio.gather(*(session.ended() for session in self._live.values()))

    async def close(self) -> None:
        """Let what is being worked out come to its end."""
        await self._worker.close()

    # Procedures

    async def shown(self, servo: str) -> list[ProcedureShown]:
        """All procedures, with their last run on a servo."""
        runs = await self.listed(servo)
        return [
            ProcedureShown(
                name=one.name,
                title=one.title,
                about=one.about,
                steps=list(one.steps),
                last=next((run for run in runs if run.procedure == one.name), None),
            )
            for one in PROCEDURES.values()
        ]

    async def start(
        self, procedure: str, servo: Servo, who: Who, answers: Mapping[str, Any] | None = None, *, auto: bool = False
    ) -> Session:
        """Begin a procedure on a servo. Raises Unknown, Refused."""
        listed = PROCEDURES.get(procedure)
        if listed is None:
            raise Unknown(f"The bench has no procedure {procedure!r}. It has: {', '.join(PROCEDURES)}.")
        if self._tasks is None:
            raise Busy("The service is ending.")
        session = Session(
            f"b-{self._world.random.getrandbits(ID_BITS):012x}",
            procedure,
            servo,
            self._world,
            who,
            answers=answers,
            auto=auto,
            worker=self._worker,
        )
        servo.claim(session, who, armed=False)
        try:
            await self._keep(session, None)
        except NotStored:
            servo.release(session)
            raise
        self._live[session.id] = session
        self._store.journal.tell(
            "bench", f"{listed.title} begun", who=who.label, via=who.via, servo=servo.name, run=session.id
        )
        self._tasks.create_task(self._do(session), name=f"bench {session.id}")
        return session

    async def _do(self, session: Session) -> None:
        try:
            work = await session.think(PROCEDURES[session.report.procedure].work)
            ended = await execute(session, work)
        except Exception:  # a mistake in a procedure must not end the service; the servo is disarmed first
            log.exception("%s: the bench failed", session.servo.name)
            session.servo.stop(session.who, 0)
            reason = "the bench made a mistake of its own; see the log"
            session.finish(BenchState.STOPPED, reason, None, self._world.wall())
            ended = Ended(BenchState.STOPPED, reason, None)
        finally:
            session.servo.release(session)
        await self._close(session, ended)

    async def _close(self, session: Session, ended: Ended) -> None:
        """Keep what it found, and how it ended."""
        report = session.report
        try:
            if ended.measured is not None:
                report.measured_revision = (await self.replace(session.servo, ended.measured)).revision
        except Refused as refused:
            report.state, report.reason = BenchState.STOPPED, f"what it found was not kept: {refused.detail}"
        session.changed()
        why = f": {report.reason}" if report.reason else ""
        self._store.journal.tell(
            "bench",
            f"{PROCEDURES[report.procedure].title} {report.state.value}{why}",
            who=session.asker.label,
            servo=session.servo.name,
            run=session.id,
            what={
                "values": {
                    name: one.model_dump(mode="json") for step in report.steps for name, one in step.values.items()
                }
            },
        )
        try:
            await self._keep(session, await self._revision(session.id))
            if session.records:
                await self._store.put_document(RECORD, session.id, dict(session.records), None)
            await self._thin_out(session.servo.name)
            del self._live[session.id]
        except Refused as refused:
            log.warning("%s: the run of the bench was not kept: %s", session.servo.name, refused.detail)

    # Runs

    def live(self, run_id: str) -> Session | None:
        """A run that has not been put by yet."""
        return self._live.get(run_id)

    async def report(self, run_id: str) -> BenchRun:
        """A run as it stands. Raises Unknown."""
        session = self._live.get(run_id)
        if session is not None:
            return session.report
        document = await self._store.document(RUN, run_id)
        return BenchRun.model_validate(document.body)

    async def listed(self, servo: str | None = None) -> list[BenchRun]:
        """Runs, newest first, without their plots."""
        stored = [
            BenchRun.model_validate(one.body) for one in await self._store.documents(RUN) if one.name not in self._live
        ]
        found = [*(session.report for session in self._live.values()), *stored]
        found = [plain(run) for run in found if servo is None or run.servo == servo]
        return sorted(found, key=lambda run: run.began_at, reverse=True)

    async def stop(self, run_id: str, who: Who) -> BenchRun:
        """End a run: drive goes at once. Does nothing when it has ended. Raises Unknown."""
        session = self._live.get(run_id)
        if session is None:
            return await self.report(run_id)
        session.end(SessionOver(BenchState.STOPPED, f"stopped by {who.label}"))
        await session.ended()
        return session.report

    def answer(self, run_id: str, question: str, value: Any) -> BenchRun:
        """Answer what a run asks. Raises Unknown, Busy, Invalid."""
        session = self._live.get(run_id)
        if session is None:
            raise Unknown(f"No run {run_id!r} of the bench is under way.")
        session.answer(question, value)
        return session.report

    async def record(self, run_id: str, name: str) -> str:
        """A raw record as it was put by. Raises Unknown."""
        session = self._live.get(run_id)
        records = session.records if session is not None else (await self._store.document(RECORD, run_id)).body
        if name not in records:
            raise Unknown(f"The run has no record {name!r}. It has: {', '.join(records) or 'none'}.")
        return str(records[name])

    # What was found

    async def measured(self, servo: str) -> Document | None:
        """What the bench found on a servo, or None."""
        try:
            return await self._store.document(MEASURED, servo)
        except Unknown:
            return None

    async def replace(self, servo: Servo, measured: Measured, expected: int | str | None = "any") -> Document:
        """Put other measured values in force and keep them, with a version of their own. Raises Busy, Stale, NotStored."""
        async with self._writing:
            before = await self.measured(servo.name)
            revision = before.revision if before else None
            if expected not in ("any", revision):
                raise Stale("It was changed since you read it. Read it again.")
            was = servo.measured
            servo.replace_measured(measured)
            try:
                body = measured.model_dump(mode="json")
                document = await self._store.put_document(MEASURED, servo.name, body, revision)
            except Refused:
                servo.replace_measured(was)
                raise
            await self._store.put_document(VERSION, f"{servo.name}@{document.revision}", body, None)
            return document

    async def version(self, servo: str, revision: int) -> Document:
        """An older version of what was found. Raises Unknown."""
        return await self._store.document(VERSION, f"{servo}@{revision}")

    async def versions(self, servo: str) -> list[int]:
        """Revisions of what was found, oldest first."""
        kept = [one.name.rpartition("@") for one in await self._store.documents(VERSION)]
        return sorted(int(revision) for name, _, revision in kept if name == servo)

    # Keeping

    async def _keep(self, session: Session, expected: int | None) -> None:
        await self._store.put_document(RUN, session.id, session.report.model_dump(mode="json"), expected)

    async def _revision(self, run_id: str) -> int:
        return (await self._store.document(RUN, run_id)).revision

    async def _thin_out(self, servo: str) -> None:
        """Let the oldest runs go."""
        mine = [one for one in await self._store.documents(RUN) if one.body.get("servo") == servo]
        for old in sorted(mine, key=lambda one: str(one.body.get("began_at")))[:-KEPT_RUNS]:
            await self._store.delete_document(RUN, old.name, old.revision)
            try:
                record = await self._store.document(RECORD, old.name)
            except Unknown:
                continue
            await self._store.delete_document(RECORD, old.name, record.revision)


def plain(run: BenchRun) -> BenchRun:
    """A run without its plots."""
    return run.model_copy(update={"steps": [step.model_copy(update={"plots": []}) for step in run.steps]})


def read_measured(document: Document) -> Measured:
    """What was kept, as far as this version of the program can read it."""
    try:
        return Measured.model_validate(document.body)
    except ValidationError:
        log.warning("the measured values of %s cannot be read by this version; the sheet's stand", document.name)
        return Measured()
