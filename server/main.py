"""Puts the application together; alone in knowing every layer."""

import asyncio
import logging
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from datetime import UTC, datetime

from fastapi import Depends, FastAPI
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware

from server import __version__, paths, wording
from server.services.backups import BackupKeeper
from server.services.jobs import Jobs
from server.services.listening import Listening
from server.services.live import Hub
from server.services.planning import COMPARE, PLAN, Answer, Comparison
from server.services.readiness import Readiness
from server.services.shared_jobs import SharedJobs
from server.services.trade_offs import CHANGE, ChangeAnswer
from server.services.turn_watch import TurnWatch
from server.settings import Settings
from server.storage import migrate
from server.storage.session import Database
from server.web import errors
from server.web.dependencies import admit
from server.web.fragments import Fragments
from server.web.request_log import RequestLog
from server.web.routes import ROUTERS
from server.web.security import Guard, Policy
from server.web.static_files import VersionedStaticFiles
from server.web.stream import closed_at_signals
from server.web.templating import make_templates

WATCH_EVERY_S = 2.0
"""Between two looks for nudges and freed places; a look that finds nothing costs a few queries."""

log = logging.getLogger("bandstand")


def utc_now() -> datetime:
    return datetime.now(UTC)


def create_app(settings: Settings, clock: Callable[[], datetime] = utc_now) -> FastAPI:
    """The application on its data file, which is brought up to this version first.

    Raises migrate.MigrationError if the data file is of a newer version.
    """
    wording.speak(settings.locale)
    migrate.upgrade(settings.place, paths.MIGRATIONS)
    policy = Policy.of(
        settings.allowed_hosts, settings.public_origins, settings.body_limit_kib, settings.hsts_days
    )
    app = FastAPI(
        title="Bandstand",
        version=__version__,
        openapi_url=None,  # no description of the director's addresses for strangers, no pages from elsewhere
        dependencies=[Depends(admit)],
        lifespan=_lifespan,
        middleware=[
            Middleware(RequestLog),
            Middleware(Guard, policy=policy),
            Middleware(GZipMiddleware, minimum_size=1000),
            Middleware(errors.FaultPages),
        ],
    )
    app.state.settings = settings
    app.state.crew_comes = lambda: None  # whoever serves it may have something to make ready
    app.state.clock = clock
    app.state.database = Database(settings.place)
    app.state.templates = make_templates()
    app.state.fragments = Fragments(app.state.templates)
    app.state.hub = Hub(app.state.fragments.message)
    app.state.jobs = _jobs(app.state.database, clock)
    app.state.backups = BackupKeeper(
        settings.place, settings.backup_folder, settings.backups_kept, settings.backup_minutes * 60, clock
    )
    errors.add_handlers(app)
    for router in ROUTERS:
        app.include_router(router)
    app.mount("/static", VersionedStaticFiles(directory=paths.STATIC), name="static")
    return app


def _jobs(database: Database, clock: Callable[[], datetime]) -> Jobs:
    """In memory where this process is alone, in the database where there are several."""
    if not database.tells_changes:
        return Jobs()
    return SharedJobs(database, {PLAN: Answer, COMPARE: Comparison, CHANGE: ChangeAnswer}, clock)


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    hub: Hub = app.state.hub
    hub.open(asyncio.get_running_loop())
    is_over = asyncio.Event()
    watching = asyncio.create_task(_watch(app, is_over))
    listening = Listening(app.state.database, hub, app.state.crew_comes)
    app.state.readiness = Readiness(app.state.database, paths.MIGRATIONS, listening)
    app.state.backups.open()
    with closed_at_signals(hub):
        yield
    is_over.set()
    await watching  # a look that is under way still holds a connection
    listening.close()
    app.state.backups.close()
    hub.close()
    app.state.jobs.close()
    app.state.database.close()


async def _watch(app: FastAPI, is_over: asyncio.Event) -> None:
    watch = TurnWatch(app.state.database, app.state.hub)
    while True:
        with suppress(TimeoutError):
            await asyncio.wait_for(is_over.wait(), WATCH_EVERY_S)
        if is_over.is_set():
            return
        try:
            await run_in_threadpool(watch.look, app.state.clock())
        except Exception:
            log.exception("the watch over open flying failed; it looks again")
