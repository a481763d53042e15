"""Whether somebody is let in: by a key, by the cookie of a paired phone, or because whoever is on this machine may.

One that is right gets in whatever wrong ones go on beside it; the wrong ones wait longer and longer, each client for itself.
"""

from __future__ import annotations

import asyncio
import logging
import math
from dataclasses import dataclass
from datetime import datetime, timedelta

from geartender.access.backoff import Backoff
from geartender.access.limits import Bucket, Limiter, Rate, Rates
from geartender.access.pairing import LIVES_S, Invitation, Offers, invite
from geartender.access.register import KEY, PHONE, Register
from geartender.access.roles import Role
from geartender.access.tokens import digest, is_passphrase, keep_passphrase, new_token, same
from geartender.errors import Forbidden, Invalid, NotStored, ProofNeeded, TooManyAttempts, Unauthenticated
from geartender.store import Store
from geartender.store.credentials import Credential
from geartender.world import World

log = logging.getLogger(__name__)

RATES = Rates(each=Rate(per_s=100.0, at_once=400.0), all=Rate(per_s=200.0, at_once=800.0))
"""Requests. A page fetches about a hundred files when it opens and then a few a second; twice as many a second as a small board can
answer would take the processor from the servo."""

WRONG_IN_ALL = Rate(per_s=1.0, at_once=60.0)
"""Wrong keys and cookies of all clients together that are answered as such; more are told to wait."""

JOURNALLED = Rate(per_s=1 / 60, at_once=10.0)
"""Refused tries that get an entry in the journal; the others are counted into the next one."""

PROVEN_S = 300.0
"""s that a passphrase counts after it was given: as long as one tries out a limit."""

PAIRED_IS_PROOF_S = 600.0
"""s after pairing in which nothing more is to be proved: the code came from the machine or from a manager."""

KEY_LIVES_MAX = timedelta(days=3653)
"""Ten years; a key that is to last longer has no end."""

OFFER_STATE = "invitation"
"""The kind of state in which an invitation waits that was made while no service ran."""

NOBODY = "Pair this phone, or send a key: only those who were let in may use this service."
WRONG = "That key or session is not known here: it was mistyped, has expired or was revoked."
WRONG_CODE = (
    "That code is not right, or no longer: each is good once, for ten minutes and for a few tries. Get a new one."
)


@dataclass(frozen=True, slots=True)
class Admission:
    """Somebody who was let in."""

    role: Role
    credential: Credential | None = None
    """The phone or key; None: whoever is on this machine."""
    by_key: bool = False
    """A key came with the request itself."""

    @property
    def id(self) -> str:
        """Names the phone or key; empty for whoever is on this machine."""
        return "" if self.credential is None else self.credential.id

    @property
    def name(self) -> str:
        """What the journal calls it."""
        return "" if self.credential is None else self.credential.name

    @property
    def by_cookie(self) -> bool:
        """Whether a browser sent it along by itself, so that it has to be known on whose behalf."""
        return self.credential is not None and not self.by_key

    @property
    def servo(self) -> str | None:
        """The one servo that it is for; None: all."""
        return None if self.credential is None else self.credential.servo

    def require(self, role: Role) -> None:
        """Raise Forbidden unless the role covers that one."""
        if not self.role.allows(role):
            raise Forbidden(f"That needs the role {role.value}; you were let in to {self.role.value}.", role=role.value)


@dataclass(slots=True)
class _Told:
    """Entries of the journal that a flood would multiply."""

    bucket: Bucket
    left_out: int = 0


class Admissions:
    """Who is let in to one service."""

    def __init__(self, store: Store, world: World, *, anybody: bool, rates: Rates = RATES) -> None:
        """With `anybody` whoever reaches the service may do everything: for one that can be reached from its own machine alone."""
        self.anybody = anybody
        self.register = Register(store, world)
        self.offers = Offers(world.secret_bytes)
        self._store = store
        self._world = world
        self._now = world.monotonic
        self._let_in, self._strangers = Limiter(rates), Limiter(rates)
        self._secrets, self._codes, self._passphrases = Backoff(), Backoff(), Backoff()
        self._wrong_in_all = Bucket(WRONG_IN_ALL)
        self._secrets_told, self._doors_told = _Told(Bucket(JOURNALLED)), _Told(Bucket(JOURNALLED))
        self._proven: dict[str, float] = {}
        self._worker = world.worker("passphrases")
        self._at_the_machine: Credential | None = None

    # Life

    async def open(self) -> None:
        """Read who was let in, and take over an invitation that was made while no service ran."""
        await self.register.load()
        try:
            for name, kept in (await self._store.states(OFFER_STATE)).items():
                left = LIVES_S - (self._world.wall() - datetime.fromisoformat(kept["at"])).total_seconds()
                if 0 < left <= LIVES_S:
                    self.offers.take_over(kept, left, self._now())
                await self._store.set_state(OFFER_STATE, name, None)
        except NotStored as trouble:
            log.warning("invitations cannot be read: %s", trouble)

    async def close(self) -> None:
        """Let go of the worker."""
        await self._worker.close()

    def key_at_the_machine(self) -> str:
        """A new key for commands on this machine, good until the service ends."""
        secret = new_token(self._world.secret_bytes)
        self._at_the_machine = Credential(
            id="machine",
            kind="machine",
            name="the machine itself",
            role=Role.MANAGE.value,
            servo=None,
            digest=digest(secret),
            passphrase=None,
            created_at=self._world.wall(),
            last_used_at=None,
            expires_at=None,
            revoked_at=None,
        )
        return secret

    # Letting in

    def limit(self, client: str, admission: Admission | None) -> None:
        """Raise TooManyAttempts when this one, or all together, ask too often. Strangers take nothing from those let in."""
        limiter, name = (self._strangers, client) if admission is None else (self._let_in, admission.id or client)
        wait = limiter.take(name, self._now())
        if wait > 0.0:
            raise TooManyAttempts("Too many requests in too short a time.", retry_after_s=round(wait, 3))

    def recognised(self, key: str | None, cookie: str | None) -> Admission | None:
        """Who that is; None when nobody who is let in."""
        if self.anybody:
            return Admission(Role.MANAGE)
        secret = key if key is not None else cookie
        if secret is None:
            return None
        found = self._machine(key) or self.register.find(secret)
        if found is None or (found.kind == PHONE) != (key is None):
            return None
        return Admission(Role(found.role), found, key is not None)

    def _machine(self, key: str | None) -> Credential | None:
        one = self._at_the_machine
        return one if one is not None and key is not None and same(one.digest, digest(key)) else None

    def refused(self, client: str, what: str) -> Unauthenticated | TooManyAttempts:
        """Count a wrong secret, and say what to answer."""
        now = self._now()
        wait = max(self._secrets.wait_s(client, now), self._wrong_in_all.take(now))
        if wait > 0.0:
            return TooManyAttempts("Too many wrong keys. Wait before the next.", retry_after_s=round(wait, 3))
        self._secrets.wrong(client, now)
        self.tell_refused(client, f"a wrong {what} was refused")
        return Unauthenticated(WRONG)

    def tell_refused(self, who: str, text: str) -> None:
        """Write a refused try down, unless there were too many of late: a flood must not fill the journal."""
        self._tell_seldom(self._secrets_told, who, text)

    def tell_at_the_door(self, who: str, text: str) -> None:
        """The same for a foreign host or page: such a flood must not keep wrong keys out of the journal either."""
        self._tell_seldom(self._doors_told, who, text)

    def _tell_seldom(self, told: _Told, who: str, text: str) -> None:
        if told.bucket.take(self._now()) > 0.0:
            told.left_out += 1
            return
        more = f", and {told.left_out} tries before it" if told.left_out else ""
        told.left_out = 0
        self._store.journal.tell("access", f"{text}{more}", who=who, via="person", result="refused")

    # Keys

    async def add_key(
        self, name: str, role: Role, servo: str | None, expires_at: datetime | None, by: str
    ) -> tuple[Credential, str]:
        """Let a script in; gives its credential and the key, which is kept nowhere. Raises Invalid, Busy, NotStored."""
        now = self._world.wall()
        if expires_at is not None and not now < expires_at <= now + KEY_LIVES_MAX:
            raise Invalid(
                "A key ends at a time that is still to come, within ten years; or never, when no time is given."
            )
        one, key = await self.register.add(KEY, name, role, servo, expires_at)
        try:
            await self.register.save()
        except NotStored:
            self.register.revoke(one.id)
            raise
        await self.tell(f"key {one.name} with the role {one.role} by {by}", by, servo)
        return one, key

    async def revoke(self, one_id: str, by: str) -> None:
        """Let a phone or key in no longer: at once, then also after a restart. Raises Unknown, NotStored."""
        name = self.register.get(one_id).name
        self.register.revoke(one_id)
        self.tell(f"{name} was revoked by {by}", by)
        await self.register.save()

    def tell(self, text: str, who: str, servo: str | None = None) -> asyncio.Future[None]:
        """Write down who was let in, or no longer, and by whom."""
        return self._store.journal.tell("access", text, who=who, via="person", servo=servo)

    # Pairing

    async def leave_invitation(self, role: Role, by: str) -> Invitation:
        """A new invitation for the service to take over when it starts. Raises NotStored."""
        invitation, kept = invite(self._world.secret_bytes, role, by)
        await self._store.set_state(OFFER_STATE, kept["secret"], {**kept, "at": self._world.wall().isoformat()})
        return invitation

    def invite(self, role: Role, by: str) -> Invitation:
        """A new invitation, open from now on."""
        self.tell(f"invitation to {role.value} by {by}", by)
        return self.offers.make(role, by, self._now())

    async def pair(
        self, client: str, name: str, *, code: str | None, secret: str | None, passphrase: str | None = None
    ) -> tuple[Credential, str]:
        """Let a phone in that has the code or the secret of an invitation; gives it and the secret of its session.

        Raises Unauthenticated, TooManyAttempts, Busy.
        """
        now = self._now()
        wait = self._codes.wait_s(client, now)
        if wait > 0.0:
            raise TooManyAttempts("Too many wrong codes. Wait before the next.", retry_after_s=round(wait, 3))
        used = self.offers.by_secret(secret, now) if secret else self.offers.by_code(code or "", client, now)
        if used is None:
            self._codes.wrong(client, now)
            self.tell_refused(client, "a wrong pairing code was refused")
            raise Unauthenticated(WRONG_CODE)
        self._codes.right(client)
        one, session = await self.register.add(PHONE, name, used.role)
        if passphrase is not None:
            one = self.register.change(one.id, passphrase=await self._kept(passphrase))
        self._proven[one.id] = now + PAIRED_IS_PROOF_S
        self.tell(f"{one.name} was paired with the role {one.role}, invited by {used.by}", one.name)
        try:
            await self.register.save()
        except NotStored as trouble:  # whoever stands there can drive and stop all the same; it is written later
            log.warning("%s is let in until the service ends: %s", one.name, trouble)
        return one, session

    # Proving

    def proven_for_s(self, admission: Admission) -> float:
        """Seconds for which nothing more is to be proved; 0.0: a proof is needed. A key proves it by being sent."""
        if admission.credential is None or admission.by_key:
            return math.inf
        return max(0.0, self._proven.get(admission.id, 0.0) - self._now())

    def require_proof(self, admission: Admission) -> None:
        """Raise ProofNeeded unless who asks has proved of late who they are."""
        if self.proven_for_s(admission) > 0.0:
            return
        one = admission.credential
        has = one is not None and self.register.get(one.id).passphrase is not None
        raise ProofNeeded(
            "Give your passphrase first." if has else "Pair this phone again first: it has no passphrase.",
            proof="passphrase" if has else "pair-again",
        )

    async def prove(self, admission: Admission, passphrase: str) -> None:
        """Take a passphrase as proof, for a while. Raises TooManyAttempts, ProofNeeded when it is wrong or none is set."""
        if admission.credential is None or admission.by_key:
            return
        one = self.register.get(admission.id)
        if one.passphrase is None:
            self.require_proof(admission)
            return
        wait = self._passphrases.wait_s(one.id, self._now())
        if wait > 0.0:
            raise TooManyAttempts("Too many wrong passphrases. Wait before the next.", retry_after_s=round(wait, 3))
        kept = one.passphrase
        self._passphrases.wrong(one.id, self._now())  # before the slow part, so that many at once do not slip through
        if not await self._worker.submit(lambda: is_passphrase(passphrase, kept)):
            self.tell_refused(one.name, "a wrong passphrase was refused")
            raise ProofNeeded("That is not your passphrase.", proof="passphrase")
        self._passphrases.right(one.id)
        self._proven[one.id] = self._now() + PROVEN_S

    async def set_passphrase(self, admission: Admission, passphrase: str) -> None:
        """Set or change the passphrase of a phone. Raises ProofNeeded, Invalid for what is no phone, NotStored."""
        if admission.credential is None or admission.credential.kind != PHONE:
            raise Invalid("Only a paired phone has a passphrase; a key proves itself by being sent.")
        self.require_proof(admission)
        self.register.change(admission.id, passphrase=await self._kept(passphrase))
        self.tell("passphrase set", admission.credential.name)
        await self.register.save()

    async def _kept(self, passphrase: str) -> str:
        return await self._worker.submit(lambda: keep_passphrase(passphrase, self._world.secret_bytes))
