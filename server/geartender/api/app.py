"""The composition root: from settings and a world to an application. Everything else is handed what it needs from here."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib.metadata import version
from pathlib import Path

from fastapi import APIRouter, FastAPI

from geartender.access import Addresses, Door, Large, is_loopback, own_addresses
from geartender.access.admissions import RATES, Admissions
from geartender.access.cookies import Cookie
from geartender.access.entrance import Entrance
from geartender.access.limits import Rates
from geartender.api import (
    backup,
    bench,
    builds,
    credentials,
    health,
    journal,
    live,
    me,
    motions,
    notices,
    pairing,
    runs,
    sequences,
    servos,
    sheets,
    simulation,
    timetable,
    trains,
    wirings,
)
from geartender.api.battery import BatteryGauge
from geartender.api.metrics import Metrics
from geartender.api.mounted import Mounted
from geartender.api.once import Once
from geartender.api.openapi import describe, description
from geartender.api.page import page_router, web_folder
from geartender.api.problems import add_problem_handlers, problem_pages
from geartender.api.recorder import Recorder
from geartender.api.service import Service, Simulation
from geartender.api.shelf import FolderShelf, MemoryShelf, Shelf
from geartender.api.stop_first import StopFirst
from geartender.api.webhook import Webhook
from geartender.bench.benches import Benches
from geartender.bench.health.watcher import Health
from geartender.build import BuildSheet, load_build, parse_build
from geartender.config import ServiceSection, ServoSection, Settings
from geartender.errors import BuildSheetError
from geartender.sequences.keeper import Timekeeper
from geartender.sequences.runs import Runs
from geartender.sequences.timetable import Site
from geartender.servo.servo import Servo
from geartender.store import Store
from geartender.store.database import MEMORY
from geartender.store.keep import Keeping
from geartender.store.space import MIB
from geartender.world import World, real_world

log = logging.getLogger(__name__)

EVERYWHERE = ("0.0.0.0", "::")  # noqa: S104 - to be told apart, not to be listened on
"""To listen on every address that this machine has."""

DATABASE_FILE = "geartender.db"
"""Name of the database in the data folder."""


def create_app(
    settings: Settings,
    world: World | None = None,
    *,
    shelf: Shelf | None = None,
    sim: Simulation | None = None,
    anybody: bool = False,
    rates: Rates = RATES,
) -> FastAPI:
    """The whole application. Reads the build sheets now; opens ports and starts tasks only in its lifespan.

    With `anybody` whoever reaches it may do everything; else phones have to be paired, and scripts need keys.

    Raises BuildSheetError and OSError for a sheet that cannot be used.
    """
    world = world or real_world()
    if shelf is None:
        folder = settings.service.data_dir
        shelf = FolderShelf(folder) if folder else MemoryShelf()
    kept = settings.journal
    keeping = Keeping(kept.keep_days, kept.max_mib * MIB)
    store = Store(store_url(settings), world, settings.site.zone, keeping)
    webhook = None
    if settings.notices.url is not None and settings.notices.secret is not None:
        webhook = Webhook(settings.notices.url, settings.notices.secret.get_secret_value(), world)
        store.notices.listen(webhook.tell)
    built: dict[str, Servo] = {}
    battery = BatteryGauge(store, built, world.monotonic)
    wear = Health(store, built, world.wall)
    record = Recorder(store, (battery.ended, wear.ended), wear.passed_home)
    for section in settings.servo:
        opener = world.opener(section.port)
        built[section.name] = Servo(section.name, sheet_of(section, shelf), opener, world, record)
        built[section.name].address = page_url(settings.service, world).split("://")[1].rstrip("/")
    unattended = [section.name for section in settings.servo if section.unattended]
    site = Site(settings.site.zone, settings.site.latitude, settings.site.longitude)
    ran = Runs(store, built, world, unattended)
    right = world.clock_right if settings.site.clock == "synchronized" else lambda: True
    service = Service(
        world=world,
        shelf=shelf,
        store=store,
        servos=built,
        once=Once(world.monotonic),
        runs=ran,
        site=site,
        timekeeper=Timekeeper(store, ran, world, site, right),
        previews=world.worker("previews"),
        simulation=sim,
        webhook=webhook,
        battery=battery,
        metrics=Metrics(),
        admissions=Admissions(store, world, anybody=anybody, rates=rates),
        cookie=Cookie(settings.service.port),
        addresses=addresses_of(settings.service, world),
        page_url=page_url(settings.service, world),
        network_url=reached_from(settings.service, world.address()),
        local_url=reached_from(settings.service, "127.0.0.1"),
        benches=Benches(store, built, world),
        wear=wear,
    )
    service.metrics.watch(service, record, version("geartender"))
    service.configuration = settings.model_dump_json(indent=1)
    service.temporary_folder = None if settings.service.data_dir is None else str(settings.service.data_dir)
    return _assemble(service, settings.service.root_path)


def store_url(settings: Settings) -> str:
    """The database that the configuration names, else a file in the data folder, else one that ends with the process."""
    if settings.store.url is not None:
        return settings.store.url
    folder = settings.service.data_dir
    return MEMORY if folder is None else f"sqlite:///{folder / DATABASE_FILE}"


def addresses_of(service: ServiceSection, world: World) -> Addresses:
    """The names under which it answers; where other machines can reach it, also the name of this one."""
    machine = None if is_loopback(service.host) else world.host_name()
    return own_addresses(service.host, service.port, service.allowed_hosts, machine)


def reached_from(service: ServiceSection, everywhere: str) -> str:
    """Its own address, without a proxy; `everywhere` stands for every address of the machine."""
    host = everywhere if service.host.strip("[]") in EVERYWHERE else service.host
    return f"http://{_bracketed(host)}:{service.port}/"


def _bracketed(host: str) -> str:
    return f"[{host}]" if ":" in host and not host.startswith("[") else host


def page_url(service: ServiceSection, world: World) -> str:
    """Where a person opens the page: under the first of the further names, else at the address it listens on, or is reached at."""
    if not service.allowed_hosts:
        return reached_from(service, world.address())
    scheme, _, name = service.allowed_hosts[0].rpartition("://")
    has_port = ":" in name.rsplit("]", 1)[-1]
    return f"{scheme or 'http'}://{name}{'' if has_port or scheme else f':{service.port}'}{service.root_path}/"


def sheet_of(section: ServoSection, shelf: Shelf) -> BuildSheet:
    """The sheet last put in force over HTTP, else the one that the configuration names."""
    name = builds.build_file(section.name)
    kept = shelf.read(name)
    if kept is None:
        return load_build(section.build)
    log.info("%s: using the build sheet kept in the data folder (%s), not %s", section.name, name, section.build)
    try:
        return parse_build(kept)
    except BuildSheetError as error:
        raise BuildSheetError(error.items, name) from None


def _assemble(service: Service, root_path: str) -> FastAPI:
    number = version("geartender")
    app = FastAPI(
        title="Geartender",
        version=number,
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        lifespan=_lifespan,
    )
    app.state.service = service
    add_problem_handlers(app)
    describe(app)
    api = APIRouter(prefix="/api/v1")
    for part in (
        servos.router,
        motions.router,
        builds.router,
        bench.router,
        sheets.router,
        wirings.router,
        trains.router,
        sequences.router,
        runs.router,
        timetable.router,
        simulation.router,
        journal.router,
        notices.router,
        backup.router,
        pairing.router,
        me.router,
        credentials.router,
        live.router,
    ):
        api.include_router(part)
    app.include_router(api)
    app.include_router(description(app))
    app.include_router(health.router)
    app.include_router(problem_pages(Path(__file__).parent / "templates"))
    web = web_folder()
    app.include_router(page_router(web / "templates", web / "static", number))
    app.add_middleware(StopFirst, service=service)
    app.add_middleware(
        Entrance,
        routes=app.router.routes,
        admissions=service.admissions,
        addresses=service.addresses,
        cookie=service.cookie,
    )
    archives = Large(backup.PATH, backup.MEDIA_TYPE, backup.ARCHIVE_MAX_BYTES)
    app.add_middleware(Door, addresses=service.addresses, large=archives, refused=service.admissions.tell_at_the_door)
    app.add_middleware(Mounted, root_path=root_path)
    return app


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    """Own the store and every task from start to end. The store is open before anything can be asked, and closed last."""
    service: Service = app.state.service
    await service.store.open()
    await service.admissions.open()
    try:
        await service.benches.begin()
        await service.wear.begin()
        async with asyncio.TaskGroup() as tasks:
            running = [
                tasks.create_task(service.store.run(), name="store"),
                tasks.create_task(service.admissions.register.run(), name="register"),
                *([tasks.create_task(service.webhook.run(), name="webhook")] if service.webhook else []),
                tasks.create_task(service.battery.run(), name="battery"),
                tasks.create_task(service.wear.run(), name="health"),
                tasks.create_task(service.runs.run(), name="runs"),
                tasks.create_task(service.benches.run(), name="bench"),
                tasks.create_task(service.timekeeper.run(), name="timetable"),
                *(
                    tasks.create_task(_keep(servo, service), name=f"servo {servo.name}")
                    for servo in service.servos.values()
                ),
            ]
            try:
                yield
            finally:
                await service.benches.end()
                for task in running:
                    task.cancel()
    finally:
        await service.wear.keep()
        await service.previews.close()
        await service.benches.close()
        await service.admissions.close()
        await service.store.close()


async def _keep(servo: Servo, service: Service) -> None:
    """Run a servo; should its task ever end by a mistake, let the process end, so that it is started again."""
    try:
        await servo.run()
        log.critical("%s: its task ended, which it never should", servo.name)
    except Exception:
        log.exception("%s: its task failed", servo.name)
    service.crashed.set()
