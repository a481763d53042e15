"""`/credentials` and `/keys`: who was let in, letting scripts in, and letting in no longer."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from fastapi import APIRouter, Path
from pydantic import AwareDatetime, Field

from geartender.access.register import Register
from geartender.access.roles import Role, needs
from geartender.api.deps import AdmissionDep, ServiceDep, WhoDep
from geartender.api.me import Anyway, GivenName, require_another_manager
from geartender.api.models import Listing
from geartender.api.openapi import problems
from geartender.api.service import Service
from geartender.servo.models import Shown
from geartender.servo.requests import Request as RequestBody
from geartender.store.credentials import Credential

router = APIRouter(tags=["access"])

CredentialId = Annotated[
    str, Path(alias="id", description="Id of the phone or key.", examples=["k-0a1b2c3d4e5f"], max_length=40)
]


class CredentialReport(Shown):
    """A phone or key that was let in."""

    id: str
    kind: Literal["phone", "key"]
    name: str
    role: Role
    servo: str | None = Field(description="The one servo that it is for; null: all.")
    created_at: datetime
    last_used_at: datetime | None = Field(description="Null: never.")
    expires_at: datetime | None = Field(description="Null: never.")
    valid: bool = Field(description="False: it has expired, or was not used for so long that it is let in no longer.")
    has_passphrase: bool
    you: bool = Field(description="Whether it is the one that asks.")
    helm: list[str] = Field(description="Servos of which it holds the helm.")


class KeyRequest(RequestBody):
    """A key for a script."""

    name: GivenName = Field(description="What the journal is to call it.", examples=["weather script"])
    role: Role = Field(Role.DRIVE, description="`watch`, `drive` or `manage`.")
    servo: str | None = Field(None, description="The one servo that it is for; else all.", max_length=40)
    expires_at: AwareDatetime | None = Field(None, description="When it is to be let in no longer; else never.")


class Key(CredentialReport):
    """A new key. It is shown this once."""

    key: str = Field(description="What the script sends: `Authorization: Bearer …`.")


class CredentialRequest(RequestBody):
    """What is to be changed; what is left out stays."""

    name: GivenName | None = None
    role: Role | None = None


def shown(service: Service, one: Credential, own_id: str) -> CredentialReport:
    """A phone or key as the outside sees it."""
    return report_of(service.admissions.register, one, own_id, service.helms_of(one.id))


def report_of(register: Register, one: Credential, own_id: str, helm: list[str]) -> CredentialReport:
    """The same without a service that runs."""
    return CredentialReport(
        id=one.id,
        kind=one.kind,
        name=one.name,
        role=Role(one.role),
        servo=one.servo,
        created_at=one.created_at,
        last_used_at=register.last_used(one),
        expires_at=one.expires_at,
        valid=register.is_valid(one),
        has_passphrase=one.passphrase is not None,
        you=one.id == own_id,
        helm=helm,
    )


@router.get(
    "/credentials", operation_id="listCredentials", summary="Phones and keys that were let in", responses=problems()
)
@needs(Role.MANAGE)
async def list_credentials(service: ServiceDep, admission: AdmissionDep) -> Listing[CredentialReport]:
    items = [shown(service, one, admission.id) for one in service.admissions.register.listed()]
    return Listing[CredentialReport](items=items)


@router.post(
    "/keys",
    status_code=201,
    operation_id="addKey",
    summary="Let a script in; its key is shown this once",
    responses=problems("unknown", "busy", "proof-needed", "not-stored", "not-json"),
)
@needs(Role.MANAGE)
async def add_key(service: ServiceDep, admission: AdmissionDep, who: WhoDep, body: KeyRequest) -> Key:
    if body.role is Role.MANAGE:
        service.admissions.require_proof(admission)
    if body.servo is not None:
        service.servo(body.servo)
    one, key = await service.admissions.add_key(body.name, body.role, body.servo, body.expires_at, who.label)
    return Key(**shown(service, one, admission.id).model_dump(), key=key)


@router.put(
    "/credentials/{id}",
    operation_id="changeCredential",
    summary="Give a phone or key another name or role; another role ends what it has open",
    responses=problems("unknown", "proof-needed", "last-manager", "not-stored", "not-json"),
)
@needs(Role.MANAGE)
async def change_credential(
    service: ServiceDep,
    admission: AdmissionDep,
    who: WhoDep,
    credential_id: CredentialId,
    body: CredentialRequest,
    *,
    anyway: Anyway = False,
) -> CredentialReport:
    register = service.admissions.register
    one = register.get(credential_id)
    changes = {name: value for name, value in body.model_dump().items() if value not in (None, getattr(one, name))}
    if changes.get("role") is Role.MANAGE:
        service.admissions.require_proof(admission)
    elif "role" in changes:
        require_another_manager(service, one.id, anyway=anyway)
        service.give_back_helms(one.id)
    if changes:
        after = register.change(one.id, **changes)
        service.admissions.tell(f"{one.name} is {after.name} with the role {after.role} now, by {who.label}", who.label)
        await register.save()
    return shown(service, register.get(one.id), admission.id)


@router.delete(
    "/credentials/{id}",
    status_code=204,
    operation_id="revokeCredential",
    summary="Let a phone or key in no longer; its sockets and jogs end at once",
    responses=problems("unknown", "last-manager", "not-stored"),
)
@needs(Role.MANAGE)
async def revoke_credential(
    service: ServiceDep, who: WhoDep, credential_id: CredentialId, *, anyway: Anyway = False
) -> None:
    one = service.admissions.register.get(credential_id)
    require_another_manager(service, one.id, anyway=anyway)
    await service.revoke(one.id, who.label)
