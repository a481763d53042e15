"""`/bench`: procedures on the servo that was really built, their runs, and the report; `/servos/{s}/measured`: what they found."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path as File
from typing import Annotated, Any

from fastapi import APIRouter, Header, Path, Query, Response
from jinja2 import Environment, FileSystemLoader, select_autoescape
from markupsafe import Markup
from pydantic import Field

from geartender.access.roles import Role, needs
from geartender.api import documents
from geartender.api.accepts import prefers
from geartender.api.deps import AnyoneDep, ProvenDep, ServiceDep, ServoDep, WaitDep, WhoDep
from geartender.api.documents import IfMatch, IfNoneMatch
from geartender.api.models import Listing
from geartender.api.openapi import problems
from geartender.api.prefer import applied, settle
from geartender.api.service import Service
from geartender.bench.benches import MEASURED, read_measured
from geartender.bench.health.verdicts import HealthReport
from geartender.bench.health.verdicts import table as health_table
from geartender.bench.models import BenchRun, ProcedureShown
from geartender.bench.report import Report, report, table
from geartender.bench.svg import drawing
from geartender.build.measured import Measured
from geartender.errors import Invalid, Unknown
from geartender.servo.requests import Request as Body
from geartender.servo.servo import Servo

router = APIRouter(tags=["bench"])

RunId = Annotated[str, Path(alias="id", description="Id of the run.", examples=["b-3fa9c04d1b22"], max_length=64)]
RecordName = Annotated[str, Path(alias="name", description="Name of the record.", examples=["run-1"], max_length=64)]
ProcedureName = Annotated[
    str, Path(alias="procedure", description="Name of the procedure.", examples=["first-power"], max_length=40)
]
WhichServo = Annotated[str | None, Query(description="The servo; not needed where there is only one.", max_length=40)]
Against = Annotated[int | None, Query(description="Version of the measured values to compare with.", ge=1)]
AcceptHeader = Annotated[str | None, Header(description="`text/csv` or `text/html`.", examples=["text/html"])]

STYLE = """
body{font:10pt/1.35 system-ui,sans-serif;margin:0;color:#111;background:#fff}main{max-width:190mm;margin:0 auto;padding:8mm}
h1{font-size:15pt;margin:0 0 2mm}table{border-collapse:collapse;width:100%;margin:3mm 0;font-variant-numeric:tabular-nums}
caption{text-align:left;font-weight:600}th,td{border-bottom:.2mm solid #999;padding:.6mm 1.5mm;text-align:right}
th[scope=row],th:first-child{text-align:left;font-weight:400}td:last-child{text-align:left}.plots{display:grid;
grid-template-columns:repeat(auto-fill,minmax(60mm,1fr));gap:3mm}figure{margin:0;break-inside:avoid}svg{width:100%;height:auto}
h2{font-size:11pt;margin:4mm 0 0}td{white-space:nowrap}th:last-child{text-align:left}tr,li,caption{break-inside:avoid}
h2,caption,thead{break-after:avoid}@page{size:A4;margin:10mm}@media print{main{padding:0}}
@media screen and (prefers-color-scheme:dark){body{background:#1b2127;color:#eceee8}:root{color-scheme:dark}}
"""
_HASH = base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()
REPORT_POLICY = (
    f"default-src 'none'; style-src 'sha256-{_HASH}'; script-src 'self'; frame-ancestors 'none'; base-uri 'none'"
)


class BenchStart(Body):
    """How to begin a procedure. An empty body: on the only servo, asking before every step."""

    servo: str | None = Field(None, description="The servo; not needed where there is only one.", max_length=40)
    answers: dict[str, Any] = Field(default_factory=dict, description="Answers given beforehand, by question.")
    auto: bool = Field(default=False, description="Go on by itself after each announcement; questions are still asked.")


class BenchAnswer(Body):
    """An answer; to go on, the question's id without a value."""

    question: str = Field(max_length=80)
    value: Any = None


def chosen(service: Service, name: str | None) -> Servo:
    """The servo that is meant. Raises Invalid, Unknown."""
    if name is not None:
        return service.servo(name)
    if len(service.servos) != 1:
        raise Invalid(f"Say which servo: {', '.join(service.servos)}.")
    return next(iter(service.servos.values()))


def as_csv(lines: Sequence[str], file_name: str | None = None) -> Response:
    """A table as an answer (RFC 4180); with a name it is a file to keep."""
    headers = {"Vary": "Accept"}
    if file_name is not None:
        headers["Content-Disposition"] = f'attachment; filename="{file_name}"'
    return Response("\r\n".join([*lines, ""]), media_type="text/csv", headers=headers)


# Runs


@router.get(
    "/bench",
    operation_id="listProcedures",
    summary="The procedures of the bench",
    responses=problems("unknown", "invalid"),
)
@needs(Role.WATCH)
async def list_procedures(service: ServiceDep, servo: WhichServo = None) -> Listing[ProcedureShown]:
    return Listing[ProcedureShown](items=await service.benches.shown(chosen(service, servo).name))


@router.get(
    "/bench/runs", operation_id="listBenchRuns", summary="Runs of the bench, newest first", responses=problems()
)
@needs(Role.WATCH)
async def list_bench_runs(service: ServiceDep, servo: WhichServo = None) -> Listing[BenchRun]:
    return Listing[BenchRun](items=await service.benches.listed(servo))


@router.get(
    "/bench/runs/{id}",
    operation_id="getBenchRun",
    summary="One run, with what it found; Prefer: wait holds the answer until it asks something or has ended",
    responses=problems("unknown"),
)
@needs(Role.WATCH)
async def get_bench_run(response: Response, service: ServiceDep, run_id: RunId, wait_s: WaitDep) -> BenchRun:
    session = service.benches.live(run_id)
    if session is not None:
        await settle(lambda: session.until(lambda run: run.question is not None), wait_s)
    response.headers.update(applied(wait_s))
    return await service.benches.report(run_id)


@router.post(
    "/bench/runs/{id}/answer",
    operation_id="answerBench",
    summary="Answer what the bench asks, or let it go on",
    responses=problems("unknown", "busy", "invalid"),
)
@needs(Role.MANAGE)
async def answer_bench(service: ServiceDep, run_id: RunId, body: BenchAnswer) -> BenchRun:
    return service.benches.answer(run_id, body.question, body.value)


@router.post(
    "/bench/runs/{id}/stop",
    operation_id="stopBench",
    summary="End a run: drive goes at once, and nothing is kept",
    responses=problems("unknown"),
)
@needs(Role.WATCH, unlimited=True)
async def stop_bench(service: ServiceDep, run_id: RunId, who: AnyoneDep) -> BenchRun:
    return await service.benches.stop(run_id, who)


@router.get(
    "/bench/runs/{id}/records/{name}",
    operation_id="getBenchRecord",
    summary="A raw record, as JSON or CSV",
    response_model=None,
    responses={200: {"content": {"text/csv": {"schema": {"type": "string"}}}}, **problems("unknown")},
)
@needs(Role.WATCH)
async def get_bench_record(
    service: ServiceDep, run_id: RunId, name: RecordName, accept: AcceptHeader = None
) -> Response | dict[str, Any]:
    from geartender.bench.estimators.record import Record

    record = Record.unpack(await service.benches.record(run_id, name))
    rows = zip(
        record.t_s.round(4).tolist(),
        record.count.tolist(),
        record.duty.tolist(),
        record.mark.astype(int).tolist(),
        record.supply_v.round(3).tolist(),
        strict=True,
    )
    if prefers(accept, "text/csv"):
        return as_csv(["t_s,count,duty,mark,supply_v", *(",".join(map(str, row)) for row in rows)])
    return {"columns": ["t_s", "count", "duty", "mark", "supply_v"], "rows": [list(row) for row in rows]}


# The report


@router.get(
    "/bench/report",
    operation_id="getBenchReport",
    summary="As designed, as built: JSON, CSV, or one page to print",
    response_model=Report,
    responses={
        200: {"content": {"text/csv": {"schema": {"type": "string"}}, "text/html": {"schema": {"type": "string"}}}},
        **problems("unknown", "invalid"),
    },
)
@needs(Role.WATCH)
async def get_report(
    service: ServiceDep,
    servo: WhichServo = None,
    against: Against = None,
    accept: AcceptHeader = None,
) -> Response | Report:
    made = await _report(service, chosen(service, servo), against)
    if prefers(accept, "text/csv"):
        return as_csv(table(made).splitlines(), f"{made.servo}-report.csv")
    if prefers(accept, "text/html"):
        headers = {"Vary": "Accept", "Content-Security-Policy": REPORT_POLICY, "Cache-Control": "no-cache"}
        return Response(_page(made), media_type="text/html", headers=headers)
    return made


async def _report(service: Service, servo: Servo, against: int | None) -> Report:
    document = await service.benches.measured(servo.name)
    measured = Measured() if document is None else read_measured(document)
    other = None
    if against is not None:
        other = (against, read_measured(await service.benches.version(servo.name, against)))
    runs = [await service.benches.report(run.id) for run in await service.benches.listed(servo.name)]
    link = servo.snapshot().link
    return report(
        servo.name,
        servo.sheet,
        measured,
        document.revision if document else None,
        runs,
        service.world.wall(),
        version("geartender"),
        link.firmware_version,
        link.board_id,
        other,
        service.wear.report(servo.name),
        await service.benches.versions(servo.name),
    )


def _page(made: Report) -> str:
    templates = Environment(
        loader=FileSystemLoader(File(__file__).parent / "templates"), autoescape=select_autoescape(default=True)
    )
    return templates.get_template("report.html").render(
        report=made,
        style=Markup(STYLE),  # noqa: S704 - a constant
        number=number,
        share=share,
        drawing=lambda plot: Markup(drawing(plot)),  # noqa: S704 - ours, escaped
    )


SUPERSCRIPT = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


def number(value: float | None, digits: int = 4) -> str:
    """A number for a table; a dash where there is none."""
    if value is None:
        return "–"
    mantissa, _, exponent = f"{value:.{digits}g}".partition("e")
    return f"{mantissa}·10{str(int(exponent)).translate(SUPERSCRIPT)}" if exponent else mantissa


def share(value: float | None) -> str:
    """A change for a table, as a percentage with its sign."""
    return "–" if value is None else f"{value:+.1%}"


@router.get(
    "/bench/versions",
    operation_id="listMeasuredVersions",
    summary="Versions of the measured values, oldest first",
    responses=problems("unknown", "invalid"),
)
@needs(Role.WATCH)
async def list_versions(service: ServiceDep, servo: WhichServo = None) -> Listing[int]:
    return Listing[int](items=await service.benches.versions(chosen(service, servo).name))


# Health


@router.get(
    "/bench/health",
    operation_id="getWear",
    summary="What normal moves say of wear: friction, current for the same move, play and count, against the first days",
    response_model=HealthReport,
    responses={200: {"content": {"text/csv": {"schema": {"type": "string"}}}}, **problems("unknown", "invalid")},
)
@needs(Role.WATCH)
async def get_health(
    service: ServiceDep, servo: WhichServo = None, accept: AcceptHeader = None
) -> Response | HealthReport:
    name = chosen(service, servo).name
    if not prefers(accept, "text/csv"):
        return service.wear.report(name)
    lines = [",".join(row) for row in health_table(service.wear.points(name))]
    return as_csv(lines, f"{name}-health.csv")


# Procedures


@router.get(
    "/bench/{procedure}",
    operation_id="getProcedure",
    summary="One procedure, with its last run",
    responses=problems("unknown", "invalid"),
)
@needs(Role.WATCH)
async def get_procedure(service: ServiceDep, procedure: ProcedureName, servo: WhichServo = None) -> ProcedureShown:
    shown = await service.benches.shown(chosen(service, servo).name)
    for one in shown:
        if one.name == procedure:
            return one
    raise Unknown(f"The bench has no procedure {procedure!r}. It has: {', '.join(one.name for one in shown)}.")


@router.post(
    "/bench/{procedure}/runs",
    status_code=202,
    operation_id="startProcedure",
    summary="Begin a procedure: it says before each step what will move, and waits for the word",
    responses=problems("proof-needed", "unknown", "invalid", "offline", "faulted", "helm-held", "busy", "not-stored"),
)
@needs(Role.MANAGE)
async def start_procedure(
    response: Response,
    service: ServiceDep,
    procedure: ProcedureName,
    who: WhoDep,
    _: ProvenDep,
    body: BenchStart | None = None,
) -> BenchRun:
    asked = body or BenchStart()
    session = await service.benches.start(procedure, chosen(service, asked.servo), who, asked.answers, auto=asked.auto)
    response.headers["Location"] = f"/api/v1/bench/runs/{session.id}"
    return session.report


# Measured


@router.get(
    "/servos/{servo}/measured",
    operation_id="getMeasured",
    summary="What the bench found; where a value is there, it replaces the computed one",
    response_model=None,
    responses={200: {"model": Measured}, 304: {"description": "You have it already."}, **problems("unknown")},
)
@needs(Role.WATCH)
async def get_measured(
    response: Response, service: ServiceDep, servo: ServoDep, if_none_match: IfNoneMatch = None
) -> Response | dict[str, Any]:
    document = await service.benches.measured(servo.name)
    if document is None:
        raise Unknown(
            "Nothing has been measured on this servo yet. Run the bench, or PUT values with If-None-Match: *."
        )
    response.headers.update(documents.headers_of(document))
    return documents.not_modified(document, if_none_match) or document.body


@router.put(
    "/servos/{servo}/measured",
    operation_id="putMeasured",
    summary="Put measured values in force; only while disarmed",
    response_model=None,
    responses={
        200: {"model": Measured},
        201: {"model": Measured},
        **problems("proof-needed", "unknown", "busy", "stale", "revision-required", "not-stored"),
    },
)
@needs(Role.MANAGE)
async def put_measured(
    response: Response,
    service: ServiceDep,
    servo: ServoDep,
    who: WhoDep,
    _: ProvenDep,
    body: Measured,
    if_match: IfMatch = None,
    if_none_match: IfNoneMatch = None,
) -> dict[str, Any]:
    before = await service.benches.measured(servo.name)
    expected = documents.require(before, if_match, if_none_match)
    document = await service.benches.replace(servo, body, expected)
    documents.tell(service, MEASURED, servo.name, "made" if before is None else "changed", who, document.body)
    response.status_code = 201 if before is None else 200
    response.headers.update(documents.headers_of(document))
    return document.body
