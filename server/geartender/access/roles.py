"""Who may do what: three roles, and what each route says of itself.

A route says it with `@needs(…)` or `@open_to_anybody` under its `@router…` line. One that says nothing lets nobody in.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, TypeVar

F = TypeVar("F", bound=Callable[..., Any])

_RULE = "__geartender_rule__"


class Role(StrEnum):
    """What somebody was let in for. Each may do all that the ones before it may."""

    WATCH = "watch"
    """Read everything, and stop."""
    DRIVE = "drive"
    """Arm, move, run sequences, change sequences and the timetable."""
    MANAGE = "manage"
    """Change the build sheet and its limits, let others in, restore a backup."""

    def allows(self, needed: Role) -> bool:
        """Whether it covers another."""
        order = list(Role)
        return order.index(self) >= order.index(needed)


@dataclass(frozen=True, slots=True)
class Rule:
    """What a route asks of whoever calls it."""

    role: Role | None
    """The least role; None: nobody need be let in."""
    any_servo: bool = False
    """Also for a key to one servo, though the address names none: it tells nothing of other servos, or leaves them out."""
    unlimited: bool = False
    """No limit of rate stands before it. For Stop."""


def needs(role: Role, *, any_servo: bool = False, unlimited: bool = False) -> Callable[[F], F]:
    """Say that a route is for this role and those above it."""
    return _said(Rule(role, any_servo, unlimited))


def open_to_anybody(endpoint: F) -> F:
    """Say that a route is for whoever reaches the service, let in or not."""
    return _said(Rule(None, any_servo=True))(endpoint)


def rule_of(endpoint: object) -> Rule | None:
    """What a route has said of itself; None when it has said nothing."""
    rule: Rule | None = getattr(endpoint, _RULE, None)
    return rule


def _said(rule: Rule) -> Callable[[F], F]:
    def say(endpoint: F) -> F:
        setattr(endpoint, _RULE, rule)
        return endpoint

    return say
