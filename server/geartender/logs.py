"""What the service says about itself on standard error: one line an event, with nothing repeated without end.

Times are left to whoever collects the lines: journald stamps them, and sorts by the level in front. Nothing here knows a secret:
the service never hands one to a logger, and a test looks for them in all it says.
"""

from __future__ import annotations

import json
import logging
from collections import OrderedDict
from collections.abc import Callable, Mapping
from typing import Literal, TextIO

BURST = 10
"""Lines of one kind that are said at once: enough to see what happens."""

PERIOD_S = 60.0
"""s after which as many may be said again, and how many were left out is told."""

KINDS_MAX = 200
"""Kinds of lines that are remembered; there are about a hundred in the program."""

TOO_TALKATIVE = ("httpx", "httpcore")
"""Libraries that would name each address they ask, and the address of somebody's webhook may be a secret."""

PRIORITY = {logging.CRITICAL: 2, logging.ERROR: 3, logging.WARNING: 4, logging.INFO: 6, logging.DEBUG: 7}
"""syslog's levels (RFC 5424 section 6.2.1), which journald takes from a line that begins with one."""


class RateLimit(logging.Filter):
    """Lets through `BURST` lines of each kind in `PERIOD_S`: the same logger, level and words, whatever figures are in them."""

    def __init__(self, now: Callable[[], float]) -> None:
        super().__init__()
        self._now = now
        self._kinds: OrderedDict[tuple[str, int, str], list[float]] = OrderedDict()
        """For each kind: when its period began, how many were let through, how many were left out."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Whether to say it; the first of a new period says how many were left out."""
        kind = (record.name, record.levelno, str(record.msg))
        now = self._now()
        began, said, left_out = self._kinds.pop(kind, [now, 0, 0])
        if now - began >= PERIOD_S:
            if left_out:
                record.left_out = int(left_out)
            began, said, left_out = now, 0, 0
        say = said < BURST
        self._kinds[kind] = [began, said + say, left_out + (not say)]
        if len(self._kinds) > KINDS_MAX:
            self._kinds.popitem(last=False)
        return say


class Lines(logging.Formatter):
    """One line a record: `level=info logger=… message="…"`, or a JSON object with the same names."""

    def __init__(self, form: Literal["text", "json"], *, priorities: bool = False) -> None:
        super().__init__()
        self._form = form
        self._priorities = priorities

    def format(self, record: logging.LogRecord) -> str:
        """The line, without its end."""
        fields: dict[str, str | int] = {
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        left_out = getattr(record, "left_out", 0)
        if left_out:
            fields["left_out_before"] = left_out
        if record.exc_info:
            fields["exception"] = self.formatException(record.exc_info)
        line = json.dumps(fields) if self._form == "json" else _pairs(fields)
        return f"<{PRIORITY.get(record.levelno, 5)}>{line}" if self._priorities else line


def _pairs(fields: Mapping[str, str | int]) -> str:
    return " ".join(f"{name}={_value(value)}" for name, value in fields.items())


def _value(value: str | int) -> str:
    """Bare when it is one plain word; else quoted as JSON does it, so that no value can look like another line or field."""
    text = str(value)
    plain = bool(text) and all(c.isalnum() or c in "._-:/°%" for c in text)
    return text if plain else json.dumps(text, ensure_ascii=False)


def set_up_logs(
    form: Literal["text", "json"],
    level: str,
    stream: TextIO,
    now: Callable[[], float],
    *,
    priorities: bool = False,
) -> None:
    """Let every logger of the process write such lines to the stream, and nowhere else."""
    handler = logging.StreamHandler(stream)
    handler.setFormatter(Lines(form, priorities=priorities))
    handler.addFilter(RateLimit(now))
    logging.basicConfig(level=level.upper(), handlers=[handler], force=True)
    for name in TOO_TALKATIVE:
        logging.getLogger(name).setLevel(logging.WARNING)
