"""What handlers ask for by type, each under one name. Nothing else reads the application's state.

All are coroutines: a plain function would run in a thread, and a world on virtual time has none.
"""

from __future__ import annotations

import re
from typing import Annotated

from fastapi import Depends, Header, Path, Request
from starlette.requests import HTTPConnection

from geartender.access.admissions import Admission
from geartender.access.entrance import ADMISSION, client_of
from geartender.api.once import Key
from geartender.api.prefer import wanted_wait_s
from geartender.api.service import Service, Simulation
from geartender.errors import Invalid, Unknown
from geartender.servo.motions import Who
from geartender.servo.servo import Servo

_CLIENT_NAME = re.compile(r"[\x21-\x7e](?:[\x20-\x7e]{0,62}[\x21-\x7e])?")
_KEY = re.compile(r"[\x21-\x7e]{1,255}")

ServoName = Annotated[str, Path(description="Name of the servo, such as `vent`.", examples=["vent"], max_length=40)]
ClientHeader = Annotated[
    str | None,
    Header(
        alias="Geartender-Client",
        description="Names the client that asks, so that the helm can tell two apart. Absent: the network address does.",
        examples=["phone-4f2a"],
    ),
]
PreferHeader = Annotated[
    str | None,
    Header(
        alias="Prefer",
        description="`wait=N` holds the answer until done, N seconds at most (RFC 7240).",
        examples=["wait=10"],
    ),
]
KeyHeader = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        description="A fresh random name for this request: a repetition with the same key starts nothing again.",
        examples=["0f8c2d1e"],
    ),
]


def client_name(given: str) -> str:
    """A client's name as given, or Invalid: 1 to 64 printable ASCII characters with none of them a space at an end."""
    if not _CLIENT_NAME.fullmatch(given):
        raise Invalid("A client's name is 1 to 64 printable ASCII characters, with no space at either end.")
    return given


def admission_of(connection: HTTPConnection) -> Admission:
    """As what whoever asks was let in (access/entrance.py)."""
    admission = connection.scope[ADMISSION]
    assert isinstance(admission, Admission)  # noqa: S101 - no route that needs it is reached without
    return admission


def who_is(connection: HTTPConnection, name: str | None) -> Who:
    """Who asks over this connection.

    A phone or key is called by the name it was let in with, and holds the helm with all of its tabs and programs. The name that a
    client gives itself tells these apart, so that none ends the jog of another. Whoever is on this machine goes by that name alone,
    else by the network address.
    """
    admission = admission_of(connection)
    one = admission.credential
    if one is None:
        peer = client_of(connection.scope)
        return Who(client=name or f"@{peer}", label=name or peer, role=admission.role.value)
    return Who(client=f"{one.id}/{name or ''}", label=one.name, role=one.role, credential=one.id)


async def get_service(connection: HTTPConnection) -> Service:
    service = connection.app.state.service
    assert isinstance(service, Service)  # noqa: S101 - create_app puts nothing else there
    return service


ServiceDep = Annotated[Service, Depends(get_service)]


def servo_for(service: Service, admission: Admission, name: str) -> Servo:
    """The servo of that name; for a key to one servo there is no other. Raises Unknown."""
    if admission.servo not in (None, name):
        raise Unknown(f"There is no servo of that name for this key. It is for {admission.servo} alone.")
    return service.servo(name)


async def get_admission(connection: HTTPConnection) -> Admission:
    return admission_of(connection)


AdmissionDep = Annotated[Admission, Depends(get_admission)]


async def get_servo(service: ServiceDep, admission: AdmissionDep, servo: ServoName) -> Servo:
    return servo_for(service, admission, servo)


async def get_proven(service: ServiceDep, admission: AdmissionDep) -> Admission:
    service.admissions.require_proof(admission)
    return admission


async def get_who(request: Request, client: ClientHeader = None) -> Who:
    return who_is(request, None if client is None else client_name(client))


def anyone_at(connection: HTTPConnection) -> Who:
    """Who asks, by a name that can be used or by the network address; never refuses: for Stop."""
    name = connection.headers.get("Geartender-Client", "")
    return who_is(connection, name if _CLIENT_NAME.fullmatch(name) else None)


async def get_anyone(request: Request, _: ClientHeader = None) -> Who:
    return anyone_at(request)


async def get_wait_s(prefer: PreferHeader = None) -> float | None:
    return wanted_wait_s(prefer)


async def get_simulation(service: ServiceDep) -> Simulation:
    if service.simulation is None:
        raise Unknown(
            "Nothing is simulated here. The command `geartender demo` starts a service that has a simulation."
        )
    return service.simulation


ServoDep = Annotated[Servo, Depends(get_servo)]
ProvenDep = Annotated[Admission, Depends(get_proven)]
"""Whoever asks has proved of late who they are. Raises ProofNeeded."""
WhoDep = Annotated[Who, Depends(get_who)]
AnyoneDep = Annotated[Who, Depends(get_anyone)]
WaitDep = Annotated[float | None, Depends(get_wait_s)]
SimulationDep = Annotated[Simulation, Depends(get_simulation)]


async def get_key(request: Request, who: WhoDep, key: KeyHeader = None) -> Key | None:
    if key is None:
        return None
    if not _KEY.fullmatch(key):
        raise Invalid("An Idempotency-Key is 1 to 255 printable ASCII characters without spaces.")
    return (who.client, request.url.path, key)


KeyDep = Annotated[Key | None, Depends(get_key)]
