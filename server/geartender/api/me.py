"""`/me`: who asks, as the service sees it; naming and forgetting this phone, and proving that it is you."""

from __future__ import annotations

import math
from datetime import datetime
from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request, Response
from pydantic import AfterValidator, Field, SecretStr

from geartender.access.admissions import Admission
from geartender.access.roles import Role, needs
from geartender.api.deps import AdmissionDep, ServiceDep
from geartender.api.openapi import problems
from geartender.api.service import Service
from geartender.errors import Invalid, LastManager
from geartender.servo.models import Shown
from geartender.servo.requests import Request as RequestBody

router = APIRouter(prefix="/me", tags=["access"])

PASSPHRASE_MIN, PASSPHRASE_MAX = 8, 128
"""Characters (NIST SP 800-63B asks for eight at least); one try costs a quarter of a second on a small board."""

NAME_MAX = 64
"""Characters of a name of a phone or key, for one line of a phone."""


def _fit_name(name: str) -> str:
    name = name.strip()
    if not name or not name.isprintable():
        raise ValueError("should be 1 to 64 printable characters")
    return name


GivenName = Annotated[str, Field(max_length=NAME_MAX), AfterValidator(_fit_name)]
Passphrase = Annotated[SecretStr, Field(min_length=PASSPHRASE_MIN, max_length=PASSPHRASE_MAX)]
Anyway = Annotated[
    bool, Query(description="Also when nobody would be left to manage; the way back in is then at the machine.")
]


class Me(Shown):
    """Who asks."""

    kind: Literal["phone", "key", "machine", "anybody"] = Field(
        description="`machine`: a command at the machine; `anybody`: this service lets in whoever is on its machine."
    )
    id: str | None = Field(description="Names the phone or key; null for anybody.")
    name: str | None = Field(description="What others see; null for anybody.")
    role: Role
    servo: str | None = Field(description="The one servo that it is for; null: all.")
    expires_at: datetime | None = Field(description="When it is let in no longer; null: never.")
    proof: Literal["given", "passphrase", "pair-again"] = Field(
        description="What is needed before limits and managers can be changed: nothing more, the passphrase, or pairing again."
    )
    proven_for_s: float | None = Field(description="How long nothing more is needed; null: always.")
    has_passphrase: bool = Field(description="Whether a passphrase is set.")


class MeRequest(RequestBody):
    """Another name."""

    name: GivenName = Field(description="What others are to see, such as `kitchen phone`.", examples=["kitchen phone"])


class PassphraseRequest(RequestBody):
    """A passphrase."""

    passphrase: Passphrase = Field(description="8 to 128 characters.")


def me_of(service: Service, admission: Admission) -> Me:
    """Who that is, as it is known now."""
    one = admission.credential
    if one is None:
        return Me(
            kind="anybody",
            id=None,
            name=None,
            role=admission.role,
            servo=None,
            expires_at=None,
            proof="given",
            proven_for_s=None,
            has_passphrase=False,
        )
    if one.kind != "machine":
        one = service.admissions.register.get(one.id)
    left = service.admissions.proven_for_s(admission)
    wanted: Literal["passphrase", "pair-again"] = "pair-again" if one.passphrase is None else "passphrase"
    return Me(
        kind=one.kind,
        id=one.id,
        name=one.name,
        role=Role(one.role),
        servo=one.servo,
        expires_at=one.expires_at,
        proof="given" if left > 0.0 else wanted,
        proven_for_s=None if math.isinf(left) else round(left, 1),
        has_passphrase=one.passphrase is not None,
    )


def require_another_manager(service: Service, one_id: str, *, anyway: bool) -> None:
    """Raise LastManager when that is the only one left who may let others in, unless it is meant."""
    if not anyway and [one.id for one in service.admissions.register.managers()] == [one_id]:
        raise LastManager(
            "Nobody would be left who may let others in. Ask again with anyway=true if you mean it; back in it goes with "
            "`geartender pair --role manage` at the machine."
        )


@router.get("", operation_id="getMe", summary="Who you are to this service, and what you may do", responses=problems())
@needs(Role.WATCH, any_servo=True)
async def get_me(service: ServiceDep, admission: AdmissionDep) -> Me:
    return me_of(service, admission)


@router.put("", operation_id="nameMe", summary="Give this phone or key another name", responses=problems("not-stored"))
@needs(Role.WATCH, any_servo=True)
async def name_me(service: ServiceDep, admission: AdmissionDep, body: MeRequest) -> Me:
    register = service.admissions.register
    before = register.get(_own_id(admission)).name
    after = register.change(admission.id, name=body.name)
    service.admissions.tell(f"{before} is called {after.name} now", before)
    await register.save()
    return me_of(service, admission)


@router.delete(
    "",
    status_code=204,
    operation_id="forgetMe",
    summary="Let this phone or key in no longer",
    responses=problems("last-manager", "not-stored"),
)
@needs(Role.WATCH, any_servo=True)
async def forget_me(
    request: Request, service: ServiceDep, admission: AdmissionDep, *, anyway: Anyway = False
) -> Response:
    one = service.admissions.register.get(_own_id(admission))
    require_another_manager(service, one.id, anyway=anyway)
    await service.revoke(one.id, one.name)
    secure = service.addresses.is_secure(request.scope)
    taken_back = service.cookie.taken_back(secure, request.scope.get("root_path", ""))
    return Response(status_code=204, headers={"Set-Cookie": taken_back})


@router.post(
    "/proof",
    operation_id="proveMe",
    summary="Prove by your passphrase that it is you; it counts for five minutes",
    responses=problems("proof-needed", "too-many-attempts"),
)
@needs(Role.WATCH, any_servo=True)
async def prove_me(service: ServiceDep, admission: AdmissionDep, body: PassphraseRequest) -> Me:
    await service.admissions.prove(admission, body.passphrase.get_secret_value())
    return me_of(service, admission)


@router.put(
    "/passphrase",
    operation_id="setPassphrase",
    summary="Set or change your passphrase; within ten minutes after pairing, or after a proof",
    responses=problems("proof-needed", "not-stored"),
)
@needs(Role.WATCH, any_servo=True)
async def set_passphrase(service: ServiceDep, admission: AdmissionDep, body: PassphraseRequest) -> Me:
    await service.admissions.set_passphrase(admission, body.passphrase.get_secret_value())
    return me_of(service, admission)


def _own_id(admission: Admission) -> str:
    if admission.credential is None or admission.credential.kind == "machine":
        raise Invalid("You were let in by being on this machine, so there is nothing to name or to forget.")
    return admission.id
