"""The service's own configuration (TOML): where it listens, where it stands, and which servos it has.

Every mistake is reported at once, one line each, with its place and what to do.
"""

from __future__ import annotations

import ipaddress
import re
import tomllib
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Annotated, Any, Literal, Self
from zoneinfo import available_timezones

from pydantic import BaseModel, ConfigDict, Field, SecretStr, ValidationError, field_validator, model_validator

from geartender.errors import ConfigError, Mistake
from geartender.mistakes import Step, mistakes_from

DEFAULT_PORT = 8350
"""TCP port; not assigned to any well-known service, and free on a usual board."""

_NAME = re.compile(r"[a-z0-9](?:[a-z0-9-]{0,38}[a-z0-9])?")
_ROOT_PATH = re.compile(r"(?:/[A-Za-z0-9._~-]+)+")
_HOST_ENTRY = re.compile(r"(?:https?://)?(?:[A-Za-z0-9.-]+|\[[0-9a-fA-F:.]+\])(?::\d{1,5})?")


class Section(BaseModel):
    """Common ground of all sections: nothing unknown, nothing changed afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class ServiceSection(Section):
    """Where the service listens and what it keeps."""

    host: str = Field(
        "127.0.0.1",
        description="Address to listen on: 127.0.0.1 for this machine alone, 0.0.0.0 for its whole network.",
    )
    port: Annotated[int, Field(ge=0, le=65535)] = Field(
        DEFAULT_PORT, description="TCP port to listen on; 0 takes a free one."
    )
    data_dir: Path | None = Field(
        None, description="Folder for what the service keeps. Without it, it keeps nothing over a restart."
    )
    allowed_hosts: tuple[str, ...] = Field((), description="Further host names it answers under, such as vent.local.")
    root_path: str = Field("", description="Path under which a reverse proxy shows the service, such as /vent.")
    proxies: tuple[str, ...] = Field(
        (), description="Addresses of reverse proxies that are believed about who asks and whether it was over HTTPS."
    )

    @field_validator("root_path")
    @classmethod
    def _plain_path(cls, path: str) -> str:
        if path and not _ROOT_PATH.fullmatch(path):
            raise ValueError(
                f"{path!r} is not a path to be put in front; write it like /vent, with no slash at the end"
            )
        if path.split("/")[1:2] in (["api"], ["static"], ["problems"]):
            raise ValueError(f"{path!r} begins like an address of the service itself; take another")
        return path

    @field_validator("proxies")
    @classmethod
    def _exact_addresses(cls, proxies: tuple[str, ...]) -> tuple[str, ...]:
        for proxy in proxies:
            try:
                ipaddress.ip_address(proxy)
            except ValueError:
                raise ValueError(f"{proxy!r} is not an IP address; write each proxy's own, such as 127.0.0.1") from None
        return proxies

    @field_validator("allowed_hosts")
    @classmethod
    def _plain_names(cls, entries: tuple[str, ...]) -> tuple[str, ...]:
        for entry in entries:
            if not _HOST_ENTRY.fullmatch(entry):
                raise ValueError(
                    f"{entry!r} is not a host name; write vent.local, vent.local:8080 or https://vent.example"
                )
        return entries


class SiteSection(Section):
    """Where the machine stands."""

    zone: str = Field("UTC", description="Time zone by its IANA name, such as Europe/Lisbon.")
    latitude: Annotated[float, Field(ge=-90, le=90)] | None = Field(None, description="Degrees north.")
    longitude: Annotated[float, Field(ge=-180, le=180)] | None = Field(None, description="Degrees east.")

    clock: Literal["synchronized", "trusted"] = Field(
        "synchronized",
        description="When the timetable may begin: once the clock was set over the network, or at once, where it keeps its time.",
    )

    @field_validator("zone")
    @classmethod
    def _known_zone(cls, zone: str) -> str:
        if zone not in available_timezones():
            raise ValueError(f"{zone!r} is no time zone of this machine; write it like Europe/Lisbon or UTC")
        return zone

    @model_validator(mode="after")
    def _both_or_none(self) -> Self:
        if (self.latitude is None) != (self.longitude is None):
            raise ValueError("give latitude and longitude, or neither")
        return self


class ServoSection(Section):
    """One servo: its name, its serial port and its build sheet."""

    name: str = Field(description="Short name, as it stands in addresses: lower-case letters, digits and hyphens.")
    port: str = Field(min_length=1, description="Serial port; best by its lasting name under /dev/serial/by-id/.")
    build: Path = Field(description="Build sheet (TOML); a relative path counts from the configuration's folder.")
    unattended: bool = Field(
        default=False, description="The owner's decision to let stored sequences arm and home it with nobody there."
    )

    @field_validator("name")
    @classmethod
    def _fits_an_address(cls, name: str) -> str:
        if not _NAME.fullmatch(name):
            raise ValueError(
                "should be lower-case letters, digits and hyphens, 40 at most, such as vent or ridge-vent-2"
            )
        return name


class StoreSection(Section):
    """Where the service keeps its records."""

    url: str | None = Field(None, description="Database address; without it, a file in data_dir.")


class JournalSection(Section):
    """How long the record of what happened is kept."""

    keep_days: Annotated[int, Field(ge=1, le=36_500)] = Field(800, description="Days that entries are kept.")
    max_mib: Annotated[int, Field(ge=16, le=1_000_000)] = Field(
        1500, description="Size of the database, in MiB, above which the oldest entries go."
    )


class NoticesSection(Section):
    """Whom to tell what needs a person, besides the page."""

    url: str | None = Field(
        None, pattern=r"^https?://[^\s]+$", description="Address that gets a signed POST for each change."
    )
    secret: SecretStr | None = Field(None, min_length=16, description="Secret that signs it; 16 characters or more.")

    @model_validator(mode="after")
    def _both_or_none(self) -> Self:
        if (self.url is None) != (self.secret is None):
            raise ValueError("give url and secret, or neither: an unsigned message could come from anybody")
        return self


class LogSection(Section):
    """What it says on standard error about itself."""

    format: Literal["text", "json"] = Field("text", description="A line of key=value pairs, or a JSON object a line.")
    level: Literal["debug", "info", "warning", "error"] = Field("info", description="The least that is said.")


class Settings(Section):
    """The whole configuration."""

    service: ServiceSection = ServiceSection()
    site: SiteSection = SiteSection()
    servo: tuple[ServoSection, ...] = ()
    store: StoreSection = StoreSection()
    journal: JournalSection = JournalSection()
    notices: NoticesSection = NoticesSection()
    log: LogSection = LogSection()

    @model_validator(mode="after")
    def _told_apart(self) -> Self:
        for what, values in (("name", [s.name for s in self.servo]), ("port", [s.port for s in self.servo])):
            twice = sorted({value for value in values if values.count(value) > 1})
            if twice:
                raise ValueError(f"two servos have the same {what} {twice[0]!r}; each needs its own")
        return self


SECTIONS: dict[str, type[Section]] = {
    "service": ServiceSection,
    "site": SiteSection,
    "servo": ServoSection,
    "store": StoreSection,
    "journal": JournalSection,
    "notices": NoticesSection,
    "log": LogSection,
}


def load_settings(path: Path) -> Settings:
    """Read a configuration file; paths in it count from its folder. Raises ConfigError with every mistake."""
    source = str(path)
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise ConfigError(
            [_whole(f"cannot be read: {error.strerror}; check the path and the rights")], source
        ) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ConfigError([_whole(f"is not TOML: {error}")], source) from error
    settings = parse_settings(table, source)
    if not settings.servo:
        raise ConfigError(
            [Mistake("servo", "#/servo", "is missing; describe at least one servo in a [[servo]] section")], source
        )
    return _rooted(settings, path.parent)


def parse_settings(table: dict[str, Any], source: str = "") -> Settings:
    """Check a configuration that was read already. Raises ConfigError with every mistake."""
    try:
        return Settings.model_validate(table)
    except ValidationError as error:
        raise ConfigError(mistakes_from(error.errors(), _names_at), source) from error


def _whole(text: str) -> Mistake:
    return Mistake("", "#", text)


def _rooted(settings: Settings, folder: Path) -> Settings:
    """Let relative paths count from `folder`."""
    service = settings.service
    if service.data_dir is not None:
        service = service.model_copy(update={"data_dir": folder / service.data_dir})
    servos = tuple(servo.model_copy(update={"build": folder / servo.build}) for servo in settings.servo)
    return settings.model_copy(update={"service": service, "servo": servos})


def _names_at(where: Sequence[Step]) -> Iterable[str]:
    """The fields of the section at a place, for the hint of an unknown one."""
    model: Any = Settings
    for step in where:
        if isinstance(step, str):
            model = SECTIONS[step]
    return list(model.model_fields)
