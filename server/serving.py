"""Open the data file, start the server on it, say where it is to be found, and serve until told to stop."""

import gc
import multiprocessing
import os
import signal
import socket
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext, suppress
from dataclasses import replace
from pathlib import Path
from threading import Event, Thread
from urllib.parse import urlsplit

import uvicorn
from fastapi import FastAPI
from sqlalchemy.exc import DatabaseError
from sqlmodel import Session
from uvicorn.supervisors import Multiprocess

from server import certificates, logs, paths
from server.allocator.warming import compile_elsewhere, warm_up
from server.certificates import Certificate, CertificateError
from server.main import create_app, utc_now
from server.services import access, clubs
from server.services.addresses import own_addresses
from server.services.errors import ServiceError
from server.settings import Settings, environment_of
from server.storage import migrate
from server.storage.one_server import AlreadyServedError, only_server
from server.storage.session import Database, DatabaseFailsError, shown

OPEN_FILES_WANTED = 4096
"""Each live page holds a connection; some systems allow a process 256 files."""
STOP_PATIENCE_S = 3
NOBODY_ELSE = 0o077
"""Who else has an account on the machine cannot read names and private links, nor the folder they lie in."""
GARBAGE_IS_LOOKED_FOR_AFTER = (5_000, 20, 50)
"""So many new objects more than were dropped; so many times until the older, and again until the oldest are looked
through."""
ALL_INTERFACES = ("0.0.0.0", "::")
PLAIN_HTTP = (
    "Plain http: who is on the same network can read what is sent, pass phrases and private links too.",
    "                  Let only people you know on it, or serve https: --certificate FILE --key FILE",
)


class CannotServeError(Exception):
    """The data file or the port cannot be had; the message says why and what would be right."""


Prepare = Callable[[Database, str], Sequence[str]]
"""Gets the data file and the address of this machine's own browser; gives lines to print with the address."""


def serve(configured: Settings, prepare: Prepare | None = None) -> None:
    """Serve until told to stop; ``prepare`` may fill the database first. Raises CannotServeError."""
    logs.configure(configured.log)
    _refuse_workers_on_a_file(configured)
    certificate = _certificate(configured)
    with data_in_use(configured), _served_alone(configured), _listener(configured) as listener:
        migrate.upgrade(configured.place, paths.MIGRATIONS)
        port = listener.getsockname()[1]
        if certificate:
            configured = known_by(configured, certificate, port)
        _say_where(configured, port, prepare, certificate)
        _allow_many_connections()
        with suppress(KeyboardInterrupt):  # uvicorn raises it again once it has stopped
            if configured.workers == 1:
                uvicorn.Server(_server_config(warming_app(configured), configured)).run(sockets=[listener])
            else:
                _run_workers(configured, listener)


def warming_app(configured: Settings) -> FastAPI:
    """The application, whose planner is warm before the first pilot stands at the desk.

    Compiling takes ten seconds and begins at once. Where it is done, half a second of loading is left, which
    begins when somebody of the crew opens a page: until then the server idles with 60 MB less.
    """
    app, crew_came = create_app(configured), Event()
    app.state.crew_comes = crew_came.set
    _look_for_garbage_seldom()
    Thread(target=_warm_up, args=(crew_came,), name="warm up the planner", daemon=True).start()
    return app


def _warm_up(crew_came: Event) -> None:
    compile_elsewhere()
    crew_came.wait()
    warm_up()
    _look_for_garbage_seldom()


def _look_for_garbage_seldom() -> None:
    """What is loaded now stays: looking through it for garbage would halt everything for a fifth of a second, in
    the middle of a publish to hundreds of phones. And nearly all garbage is young.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(*GARBAGE_IS_LOOKED_FOR_AFTER)


def app_of_worker() -> FastAPI:
    """What each of several server processes runs; its settings are in the environment."""
    Thread(target=_end_with_the_first_process, name="end with the first process", daemon=True).start()
    return warming_app(Settings.from_environment())


def _end_with_the_first_process() -> None:
    """Left alone by one that was killed, this one would hold the port against the next one."""
    first = multiprocessing.parent_process()
    if first is not None:
        first.join()
        os.kill(os.getpid(), signal.SIGTERM)


def _run_workers(configured: Settings, listener: socket.socket) -> None:
    """Serve with several processes; one that dies is started again."""
    os.environ.update(environment_of(configured))
    config = _server_config("server.serving:app_of_worker", configured, factory=True)
    Multiprocess(config, sockets=[listener]).run()


def _server_config(app: FastAPI | str, configured: Settings, factory: bool = False) -> uvicorn.Config:
    return uvicorn.Config(
        app,
        factory=factory,
        workers=configured.workers,
        ssl_certfile=configured.certificate,
        ssl_keyfile=configured.key,
        proxy_headers=bool(configured.trusted_proxies),
        forwarded_allow_ips=list(configured.trusted_proxies),
        log_config=logs.configuration(configured.log),
        log_level="warning",
        access_log=False,
        server_header=False,
        ws="none",
        timeout_graceful_shutdown=STOP_PATIENCE_S,
    )


def _certificate(configured: Settings) -> Certificate | None:
    """The certificate that is set, tried with its key. Raises CannotServeError."""
    if configured.certificate is None:
        if configured.key:
            raise CannotServeError(
                f"The key {configured.key} is set, but no certificate: name its file with --certificate."
            )
        return None
    try:
        return certificates.read(configured.certificate, configured.key)
    except CertificateError as error:
        raise CannotServeError(str(error)) from error


def known_by(configured: Settings, certificate: Certificate, port: int) -> Settings:
    """The settings with the certificate's names: pages are asked for under them, and phones are sent there."""
    own = [origin for origin in certificate.origins(port) if not _is_here_only(origin)]
    return replace(configured, public_origins=tuple(dict.fromkeys([*configured.public_origins, *own])))


def _is_here_only(origin: str) -> bool:
    host = urlsplit(origin).hostname or ""
    return host in ("localhost", "::1") or host.startswith("127.")


def _refuse_workers_on_a_file(configured: Settings) -> None:
    if configured.workers > 1 and isinstance(configured.place, Path):
        raise CannotServeError(
            f"{configured.workers} server processes cannot share a data file: none would hear of the others' "
            "changes. Give them a PostgreSQL database with BANDSTAND_DATABASE, or start one process."
        )


def _served_alone(configured: Settings) -> AbstractContextManager[None]:
    """A data file has one server; a PostgreSQL database has as many as you like."""
    return only_server(configured.place) if isinstance(configured.place, Path) else nullcontext()


def reset_pass_phrase(configured: Settings, club: str) -> str:
    """A new pass phrase for a club's organizer, beside a running server too. Raises CannotServeError."""
    with _writing(configured) as session:
        return access.reset_pass_phrase(session, clubs.club_named(session, club).id or 0, utc_now())


def add_club(configured: Settings, name: str) -> str:
    """Add a club; returns its organizer's pass phrase. Raises CannotServeError."""
    with _writing(configured) as session:
        club = clubs.make_club(session, name, utc_now())
        return access.reset_pass_phrase(session, club.id or 0, utc_now())


def club_names(configured: Settings) -> list[str]:
    """The names of all clubs, the first made first. Raises CannotServeError."""
    with _writing(configured) as session:
        return [club.name for club in clubs.all_clubs(session)]


def check_data_file(configured: Settings) -> None:
    """For what works on data that is there: make none where its place is mistyped. Raises CannotServeError."""
    if isinstance(configured.place, Path) and not configured.place.exists():
        raise CannotServeError(
            f"There is no data file {configured.place}. Name the folder that holds yours with --data; "
            "`bandstand run` makes a new one."
        )


@contextmanager
def _writing(configured: Settings) -> Iterator[Session]:
    """One transaction on the data, beside a running server too; what is refused is a CannotServeError."""
    check_data_file(configured)
    with data_in_use(configured):
        migrate.upgrade(configured.place, paths.MIGRATIONS)
        database = Database(configured.place)
        try:
            with database.write() as session:
                yield session
        except ServiceError as error:
            raise CannotServeError(str(error)) from error
        finally:
            database.close()


@contextmanager
def data_in_use(configured: Settings) -> Iterator[None]:
    """Make the data folder; tell what stands in the way of using it."""
    os.umask(NOBODY_ELSE)
    try:
        configured.data.mkdir(parents=True, exist_ok=True)
        yield
    except AlreadyServedError as error:
        raise CannotServeError(
            f"{error} by another Bandstand. Stop that one, or choose another folder with --data."
        ) from error
    except migrate.MigrationError as error:
        raise CannotServeError(str(error)) from error
    except DatabaseError as error:
        reason = " ".join(str(error.orig).split())
        raise CannotServeError(f"{shown(configured.place)} cannot be used: {reason}") from error
    except DatabaseFailsError as error:
        raise CannotServeError(f"{shown(configured.place)} cannot be used: {error}") from error
    except OSError as error:
        raise CannotServeError(
            f"The data folder {configured.data} cannot be used: {error.strerror or error}. "
            "Choose another with --data."
        ) from error


def _listener(configured: Settings) -> socket.socket:
    family = socket.AF_INET6 if ":" in configured.host else socket.AF_INET
    try:
        return socket.create_server((configured.host, configured.port), family=family)
    except OSError as error:
        raise CannotServeError(
            f"Port {configured.port} of {configured.host} cannot be used: {error.strerror or error}. "
            "Stop what uses it, or choose another with --port."
        ) from error


def _say_where(
    configured: Settings, port: int, prepare: Prepare | None, certificate: Certificate | None
) -> None:
    database = Database(configured.place)
    prepared: Sequence[str] = ()
    addresses = _addresses(configured, port, certificate)
    if prepare is not None:
        prepared = prepare(database, addresses[0][1].rstrip("/"))
    with database.write() as session:
        pass_phrase = access.make_first_pass_phrase(session, utc_now())
    database.close()
    lines = [
        f"{'Data file' if isinstance(configured.place, Path) else 'Database'}:".ljust(18)
        + shown(configured.place)
    ]
    if pass_phrase:
        lines.append(f"Pass phrase:      {pass_phrase}")
        lines.append("                  for the organizer, who may do everything; shown only now")
    lines += [f"{words}:".ljust(18) + address for words, address in addresses]
    if certificate:
        lines += certificate.cautions(utc_now())
    elif configured.host in ALL_INTERFACES:
        lines += PLAIN_HTTP
    print("\n".join([*lines, *prepared, "Stop with Ctrl-C."]), flush=True)


def _addresses(configured: Settings, port: int, certificate: Certificate | None) -> list[tuple[str, str]]:
    """Where the server is found, in words and as an address; what this machine's browser asks for is first."""
    scheme = configured.scheme
    if configured.host not in ALL_INTERFACES:
        host = f"[{configured.host}]" if ":" in configured.host else configured.host
        found = [("Address", f"{scheme}://{host}:{port}/")]
    else:
        found = [("On this machine", f"{scheme}://localhost:{port}/")]
        if not certificate:
            found += [("On phones", f"{scheme}://{address}:{port}/") for address in own_addresses()]
    if certificate:
        found += [("By its name", f"{origin}/") for origin in certificate.origins(port)]
    return found


def _allow_many_connections() -> None:
    if sys.platform != "win32":
        import resource  # not on Windows, where no such limit stands in the way

        allowed, most = resource.getrlimit(resource.RLIMIT_NOFILE)
        wanted = OPEN_FILES_WANTED if most == resource.RLIM_INFINITY else min(OPEN_FILES_WANTED, most)
        if allowed < wanted:
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, most))
