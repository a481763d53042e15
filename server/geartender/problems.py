"""The kinds of problem that the HTTP interface answers with: one table, one builder (RFC 9457).

`type` is a path under `/problems/` that answers with a page saying what the problem means and what to do.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

MEDIA_TYPE = "application/problem+json"

OFFLINE_RETRY_S = 2
"""s; the longest that a lost link takes to come back once the cable is in again."""


@dataclass(frozen=True)
class Problem:
    """One kind of problem. `title` never changes between occurrences; what happened this time goes into `detail`."""

    slug: str
    status: int
    title: str
    means: str
    advice: str

    @property
    def path(self) -> str:
        """Value of the `type` member, and the address of the page about it."""
        return f"/problems/{self.slug}"


_ALL = (
    Problem(
        "offline",
        503,
        "No link to the servo",
        "The service does not hear the servo's controller, so nothing can be commanded. A servo that hears nothing from the "
        "service stops by itself.",
        "Check the cable and the supply, and that no other program holds the port. The service tries again by itself; when the "
        "link is back the servo is disarmed.",
    ),
    Problem(
        "disarmed",
        409,
        "The servo is disarmed",
        "Drive is off. The servo is always disarmed after a start, a reset or a reconnect.",
        "See that nothing is in the way, then arm it and ask again.",
    ),
    Problem(
        "not-homed",
        409,
        "The position is not known",
        "The controller has started since the last homing, so it does not know where the output stands.",
        "Home the servo and ask again. A turn or a jog works without.",
    ),
    Problem(
        "faulted",
        409,
        "The servo has stopped itself",
        "A guard has stopped it. The snapshot's `fault` names the cause and what was measured.",
        "Find the cause at the machine. Then reset, which starts nothing, arm, and home if it asks for it.",
    ),
    Problem(
        "helm-held",
        409,
        "Somebody else holds the helm",
        "Only the holder of the helm may start motion. Anyone let in may stop.",
        "Ask the holder to give it back, wait until it lapses, or take it with `force`, which stops what moves.",
    ),
    Problem(
        "busy",
        409,
        "Not while this goes on",
        "Another motion runs, or what you asked for can only be done at rest and disarmed.",
        "Wait for the end or stop it; for a move, `when_busy` says whether to replace, queue or refuse.",
    ),
    Problem(
        "outside-travel",
        422,
        "Outside the travel",
        "The target, or the way to it, lies beyond the travel that the build sheet gives.",
        "Choose an angle within the travel. If the travel is wrong, correct the build sheet.",
    ),
    Problem(
        "over-limit",
        422,
        "Over a limit",
        "It is above a limit of the build sheet, or quicker than the limits allow.",
        "Ask for less speed, acceleration or torque, or for a longer duration.",
    ),
    Problem(
        "invalid",
        422,
        "The request makes no sense",
        "A field is missing, unknown, of the wrong kind or out of its range. `errors` lists every mistake with its place.",
        "Correct each place and ask again. Every field has its unit in its name.",
    ),
    Problem(
        "unknown",
        404,
        "There is no such thing",
        "Nothing has this address: no such servo, motion or document, or one that is no longer remembered.",
        "Look at the list it should be in.",
    ),
    Problem(
        "unauthenticated",
        401,
        "Who are you?",
        "This service lets in paired phones and scripts with a key. What was sent is neither, or it has expired or was revoked.",
        "Pair the phone: somebody who manages this service gives out a code, and `geartender pair` at the machine does as well. A "
        "script sends `Authorization: Bearer` with its key, a command takes `--key`.",
    ),
    Problem(
        "forbidden",
        403,
        "Not allowed from there",
        "The request came to a host name, or from a page, that this service does not know, or the role does not allow it.",
        "Open the service by an address it knows; further host names are named in `allowed_hosts` of its configuration. For "
        "another role, ask whoever manages the service.",
    ),
    Problem(
        "proof-needed",
        403,
        "Prove that it is you",
        "What guards the servo, and who may manage it, is changed only by somebody who has just proved who they are: a phone left "
        "on a bench must not be enough.",
        "On a phone, give your passphrase and ask again; for some minutes it is not asked for anew. If you have none, or forgot "
        "it, pair this phone again with a code from `geartender pair --role manage` at the machine. A key proves it by being sent.",
    ),
    Problem(
        "last-manager",
        409,
        "Nobody would be left to manage this",
        "This is the last phone or key that may let others in and change the build sheet.",
        "Give another the role `manage` first. If you mean it, ask again with `anyway=true`: the way back in is then `geartender "
        "pair --role manage` at the machine.",
    ),
    Problem(
        "stale",
        412,
        "Changed in the meantime",
        "The document is not the one you started from: somebody has changed it since you read it.",
        "Read it again, put your change into what you find, and send that with its ETag.",
    ),
    Problem(
        "revision-required",
        428,
        "Say which revision you are changing",
        "Changing a document needs the ETag of what you read, so that nobody's change is lost.",
        "Send `If-Match` with the ETag that the last GET gave; to create one, `If-None-Match: *`.",
    ),
    Problem(
        "not-stored",
        503,
        "It cannot be kept",
        "The disk does not keep anything just now, so what must be kept was not done, and no sequence starts. The servo can be "
        "driven and stopped by hand all the same.",
        "See the notices: they say what is wrong with the disk and what to do. Then ask again.",
    ),
    Problem(
        "too-many-attempts",
        429,
        "Too many attempts",
        "The same was tried too often in too short a time.",
        "Wait as long as `Retry-After` says.",
    ),
    Problem(
        "too-large",
        413,
        "Too large",
        "The body is larger than anything this service can need.",
        "Send less: 64 KiB is the most.",
    ),
    Problem(
        "method-not-allowed",
        405,
        "Not with this method",
        "The address exists, but does not do that. `Allow` lists what it does.",
        "Use one of the methods in `Allow`.",
    ),
    Problem(
        "not-json",
        415,
        "Only JSON here",
        "The body is not JSON, or does not say that it is.",
        "Send `Content-Type: application/json`.",
    ),
    Problem(
        "failed",
        500,
        "The service made a mistake",
        "Something went wrong inside the service. What it has not said to have done, it may have done or not.",
        "Look at the servo before asking again. The service's log says more; please report it.",
    ),
)

PROBLEMS: Mapping[str, Problem] = {problem.slug: problem for problem in _ALL}


def problem_headers(slug: str, extra: Mapping[str, Any]) -> dict[str, str]:
    """The header fields that belong to a problem (RFC 9110 sections 11.6.1 and 10.2.3)."""
    if slug == "unauthenticated":
        return {"WWW-Authenticate": 'Bearer realm="Geartender"'}
    if slug == "offline":
        return {"Retry-After": str(OFFLINE_RETRY_S)}
    if "retry_after_s" in extra:
        return {"Retry-After": str(math.ceil(extra["retry_after_s"]))}
    return {}


def problem_body(slug: str, detail: str, **extra: Any) -> dict[str, Any]:
    """The JSON body of one occurrence. `extra` are further members, such as `errors` or a figure."""
    problem = PROBLEMS[slug]
    return {**extra, "type": problem.path, "title": problem.title, "status": problem.status, "detail": detail}
