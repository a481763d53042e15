"""`/pairing`: letting a phone in, and inviting one."""

from __future__ import annotations

import io
from typing import Self

import segno
from fastapi import APIRouter, Request, Response
from pydantic import Field, SecretStr, model_validator

from geartender.access.admissions import Admission
from geartender.access.entrance import client_of
from geartender.access.pairing import Invitation
from geartender.access.roles import Role, needs, open_to_anybody
from geartender.access.tokens import TOKEN_MAX_CHARS
from geartender.api.deps import AdmissionDep, ServiceDep, WhoDep
from geartender.api.me import GivenName, Me, Passphrase, me_of
from geartender.api.openapi import problems
from geartender.servo.models import Shown
from geartender.servo.requests import Request as RequestBody

router = APIRouter(prefix="/pairing", tags=["access"])

PAIRING_FRAGMENT = "pair="
"""Stands in the fragment of the address of an invitation, before its secret: a browser keeps a fragment to itself."""


class PairingRequest(RequestBody):
    """An invitation, by its code or by its secret, and how this phone is to be called."""

    code: SecretStr | None = Field(None, max_length=16, description="The six digits, for typing; spaces do not count.")
    secret: SecretStr | None = Field(
        None, max_length=TOKEN_MAX_CHARS, description="What stands behind `#pair=` in the address."
    )
    name: GivenName = Field(description="How this phone is to be called.", examples=["kitchen phone"])
    passphrase: Passphrase | None = Field(
        None,
        description="To be asked for before limits are changed; for the role `manage`. It can be set afterwards too.",
    )

    @model_validator(mode="after")
    def _one_of_both(self) -> Self:
        if (self.code is None) == (self.secret is None):
            raise ValueError("give code or secret, one of them")
        return self


class OfferRequest(RequestBody):
    """What the next phone is to be let in for."""

    role: Role = Field(Role.DRIVE, description="`watch`, `drive` or `manage`.")


class Offer(Shown):
    """An invitation. It is shown this once."""

    role: Role
    code: str = Field(description="Six digits, for typing.")
    secret: str = Field(description="The same for a program, or in the fragment of the address.")
    lives_s: float = Field(description="How long it is good, seconds. It is good once.")
    address: str = Field(description="The page, with the secret in its fragment: what the QR code says.")
    qr_svg: str = Field(description="The QR code, as SVG.")


@router.post(
    "",
    status_code=201,
    operation_id="pair",
    summary="Let this phone in: its session comes as a cookie",
    responses=problems("unauthenticated", "too-many-attempts", "busy", "not-json"),
)
@open_to_anybody
async def pair(request: Request, response: Response, service: ServiceDep, body: PairingRequest) -> Me:
    one, session = await service.admissions.pair(
        client_of(request.scope),
        body.name,
        code=_digits(body.code),
        secret=None if body.secret is None else body.secret.get_secret_value(),
        passphrase=None if body.passphrase is None else body.passphrase.get_secret_value(),
    )
    secure = service.addresses.is_secure(request.scope)
    response.headers["Set-Cookie"] = service.cookie.given(session, secure, request.scope.get("root_path", ""))
    return me_of(service, Admission(Role(one.role), one))


@router.post(
    "/offers",
    status_code=201,
    operation_id="inviteToPair",
    summary="Invite a phone: a code, and an address with its QR code",
    responses=problems("proof-needed", "not-json"),
)
@needs(Role.MANAGE)
async def make_offer(
    request: Request, service: ServiceDep, admission: AdmissionDep, who: WhoDep, body: OfferRequest | None = None
) -> Offer:
    role = (body or OfferRequest()).role
    if role is Role.MANAGE:
        service.admissions.require_proof(admission)
    page = service.page_url if admission.by_key or service.admissions.anybody else _page_used(service, request)
    return offer_of(service.admissions.invite(role, who.label), page)


def offer_of(invitation: Invitation, page: str) -> Offer:
    """An invitation as it is shown, to the page at that address."""
    address = f"{page}#{PAIRING_FRAGMENT}{invitation.secret}"
    return Offer(
        role=invitation.role,
        code=invitation.code,
        secret=invitation.secret,
        lives_s=invitation.lives_s,
        address=address,
        qr_svg=_qr_svg(address),
    )


def _page_used(service: ServiceDep, request: Request) -> str:
    """The page as the one who asks has opened it: by that address another phone reaches it too."""
    scheme = "https" if service.addresses.is_secure(request.scope) else "http"
    return f"{scheme}://{request.headers['host']}{request.scope.get('root_path', '')}/"


def _qr_svg(text: str) -> str:
    drawn = io.BytesIO()
    segno.make(text, error="m", micro=False).save(drawn, kind="svg", scale=4, xmldecl=False, svgns=True)
    return drawn.getvalue().decode()


def _digits(code: SecretStr | None) -> str | None:
    return None if code is None else "".join(code.get_secret_value().split())
