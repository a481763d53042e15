"""`/backup`: everything that is kept, as one archive; and putting such an archive in the place of everything."""

from __future__ import annotations

import functools
import logging
import tempfile
from collections.abc import AsyncIterator
from typing import IO

from fastapi import APIRouter, Request, Response
from fastapi.responses import StreamingResponse
from pydantic import Field

from geartender.access.roles import Role, needs
from geartender.api.builds import build_file
from geartender.api.deps import ProvenDep, ServiceDep, WhoDep
from geartender.api.openapi import problems
from geartender.api.service import Service
from geartender.build import BuildSheet, parse_build, write_build
from geartender.errors import BuildSheetError, Invalid, Offline
from geartender.servo.models import Shown
from geartender.servo.motions import Who
from geartender.store.archive import CONFIGURATION, SHEETS, Archive, ArchiveError, ArchiveWriter, read_archive

log = logging.getLogger(__name__)
router = APIRouter(prefix="/backup", tags=["service"])

MEDIA_TYPE = "application/zip"
PATH = "/api/v1/backup"
ARCHIVE_MAX_BYTES = 4 << 30
"""Bytes; a database of the largest size that is kept by default, and twice that."""

IN_MEMORY_BYTES = 4 << 20
"""Bytes of an archive that are held in memory; a larger one goes to a temporary file."""

CHECK_FIRST = (
    "Everything was replaced by a backup. Look through the timetable, the sheets and who is let in, then put it aside."
)


class Restored(Shown):
    """What was put in the place of what was there."""

    made_at: str = Field(description="When the backup was made, UTC.")
    documents: int = Field(description="Sequences, timetable, measured values and whatever else is a document.")
    entries: int = Field(description="Entries of the journal.")
    sheets: list[str] = Field(description="Servos whose build sheet was put in force.")
    let_in: list[str] = Field(
        description="Phones and keys of the backup that were not known here and are let in again."
    )
    unknown_servos: list[str] = Field(description="Servos of the backup that are not here; their sheets were left out.")


@router.get(
    "",
    operation_id="makeBackup",
    summary="Everything that is kept, as one archive",
    description="Build sheets, sequences, timetable, measured values, runs, the journal, and the configuration for reading.",
    response_class=Response,
    responses={200: {"content": {MEDIA_TYPE: {}}}, **problems("not-stored")},
)
@needs(Role.MANAGE)
async def make_backup(service: ServiceDep) -> Response:
    made_at = service.world.wall()
    writer = ArchiveWriter({"made_at": made_at.isoformat(), "servos": sorted(service.servos)})
    for name, servo in sorted(service.servos.items()):
        writer.text(f"{SHEETS}{name}.toml", write_build(servo.sheet))
    writer.text(CONFIGURATION, service.configuration)
    steps = writer.steps()
    first = await service.store.read(next(steps))  # what is wrong with the store shows before the answer begins

    async def parts() -> AsyncIterator[bytes]:
        yield first
        for step in steps:
            yield await service.store.read(step)

    name = f"geartender-{made_at:%Y-%m-%d}.zip"
    return StreamingResponse(
        parts(), media_type=MEDIA_TYPE, headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )


@router.put(
    "",
    operation_id="restoreBackup",
    summary="Put an archive in the place of everything; checked first, and disarmed after",
    description=(
        "The archive is read through before anything is replaced; then it is all of it or nothing. Every servo is disarmed, and "
        "nothing starts by itself until the notice about it was put aside. The configuration file stays as it is. Phones and keys "
        "that are let in stay so; those of the backup that are not known here are let in again."
    ),
    responses=problems("proof-needed", "busy", "not-stored", "too-large"),
    openapi_extra={"requestBody": {"required": True, "content": {MEDIA_TYPE: {}}}},
)
@needs(Role.MANAGE)
async def restore_backup(request: Request, service: ServiceDep, who: WhoDep, _: ProvenDep) -> Restored:
    with tempfile.SpooledTemporaryFile(IN_MEMORY_BYTES, dir=service.temporary_folder) as file:
        await _receive(request, service, file)
        archive, sheets = await service.store.in_background(lambda: _checked(file))
        async with service.changing_documents:
            await _disarm_all(service, who)
            await service.store.restore(archive)
            back = await service.admissions.register.read_again()
            for name in sorted(sheets.keys() & service.servos.keys()):
                service.servos[name].replace_build(sheets[name])
                await service.shelf.write(build_file(name), write_build(sheets[name]))
    made_at = str(archive.about.get("made_at"))
    again = f" Let in again: {', '.join(back)}." if back else ""
    text = f"Restored from a backup of {made_at} by {who.label}.{again}"
    service.store.notices.set("restored", "service", text, CHECK_FIRST, lasting=True)
    await service.store.journal.tell("restore", text, who=who.label, via=who.via, what={"made_at": made_at})
    return Restored(
        made_at=made_at,
        documents=archive.rows["documents"],
        entries=archive.rows["journal"],
        sheets=sorted(sheets.keys() & service.servos.keys()),
        let_in=back,
        unknown_servos=sorted(sheets.keys() - service.servos.keys()),
    )


async def _receive(request: Request, service: Service, file: IO[bytes]) -> None:
    async for part in request.stream():
        await service.store.in_background(functools.partial(file.write, part))


def _checked(file: IO[bytes]) -> tuple[Archive, dict[str, BuildSheet]]:
    """The archive read through, and its sheets. Raises Invalid."""
    try:
        archive = read_archive(file)
        return archive, {name: parse_build(sheet) for name, sheet in archive.sheets.items()}
    except ArchiveError as error:
        raise Invalid(f"{error} Nothing was changed.") from error
    except BuildSheetError as error:
        raise Invalid(f"A build sheet of the archive has mistakes: {error}. Nothing was changed.") from error


async def _disarm_all(service: Service, who: Who) -> None:
    """Take drive away everywhere; a servo that is not connected is disarmed when it comes."""
    for servo in service.servos.values():
        try:
            await servo.disarm(who)
        except Offline as offline:
            log.info("%s: %s", servo.name, offline)
