"""Open the data file, start the server on it, say where it is to be found, and serve until told to stop."""

import socket
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from threading import Thread

import uvicorn
from fastapi import FastAPI

from server import paths
from server.allocator.solve import warm_up
from server.main import create_app, utc_now
from server.services import access
from server.services.addresses import own_addresses
from server.settings import Settings
from server.storage import migrate
from server.storage.one_server import AlreadyServedError, only_server
from server.storage.session import Database

OPEN_FILES_WANTED = 4096
"""Each live page holds a connection; some systems allow a process 256 files."""
STOP_PATIENCE_S = 3
ALL_INTERFACES = ("0.0.0.0", "::")


class CannotServeError(Exception):
    """The data file or the port cannot be had; the message says why and what would be right."""


Prepare = Callable[[Database, str], Sequence[str]]
"""Gets the data file and the address of this machine's own browser; gives lines to print with the address."""


def serve(configured: Settings, prepare: Prepare | None = None) -> None:
    """Serve until told to stop; ``prepare`` may fill the data file first. Raises CannotServeError."""
    with _data_in_use(configured), only_server(configured.database_file), _listener(configured) as listener:
        app = create_app(configured)
        _say_where(app, configured, listener.getsockname()[1], prepare)
        _allow_many_connections()
        # Meanwhile, so that the first pilot at the desk does not wait for the compiler.
        Thread(target=warm_up, name="warm up the planner", daemon=True).start()
        server = uvicorn.Server(
            uvicorn.Config(
                app,
                log_level="warning",
                server_header=False,
                ws="none",
                timeout_graceful_shutdown=STOP_PATIENCE_S,
            )
        )
        with suppress(KeyboardInterrupt):  # uvicorn raises it again once it has stopped
            server.run(sockets=[listener])


def reset_pass_phrase(configured: Settings) -> str:
    """A new pass phrase for the director, beside a running server too. Raises CannotServeError."""
    with _data_in_use(configured):
        migrate.upgrade(configured.database_file, paths.MIGRATIONS)
        database = Database(configured.database_file)
        with database.write() as session:
            pass_phrase = access.reset_pass_phrase(session, utc_now())
        database.close()
        return pass_phrase


@contextmanager
def _data_in_use(configured: Settings) -> Iterator[None]:
    """Make the data folder; tell what stands in the way of using it."""
    try:
        configured.data.mkdir(parents=True, exist_ok=True)
        yield
    except AlreadyServedError as error:
        raise CannotServeError(
            f"{error} by another Bandstand. Stop that one, or choose another folder with --data."
        ) from error
    except migrate.MigrationError as error:
        raise CannotServeError(str(error)) from error
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


def _say_where(app: FastAPI, configured: Settings, port: int, prepare: Prepare | None) -> None:
    prepared: Sequence[str] = ()
    if prepare is not None:
        own = "localhost" if configured.host in ALL_INTERFACES else configured.host
        prepared = prepare(app.state.database, f"http://{f'[{own}]' if ':' in own else own}:{port}")
    with app.state.database.write() as session:
        pass_phrase = access.make_first_pass_phrase(session, utc_now())
    lines = [f"Data file:        {configured.database_file}"]
    if pass_phrase:
        lines.append(f"Pass phrase:      {pass_phrase}")
        lines.append("                  for the director; shown only now, so write it down")
    if configured.host in ALL_INTERFACES:
        lines.append(f"On this machine:  http://localhost:{port}/")
        lines += [f"On phones:        http://{address}:{port}/" for address in own_addresses()]
    else:
        host = f"[{configured.host}]" if ":" in configured.host else configured.host
        lines.append(f"Address:          http://{host}:{port}/")
    print("\n".join([*lines, *prepared, "Stop with Ctrl-C."]), flush=True)


def _allow_many_connections() -> None:
    if sys.platform != "win32":
        import resource  # not on Windows, where no such limit stands in the way

        allowed, most = resource.getrlimit(resource.RLIMIT_NOFILE)
        wanted = OPEN_FILES_WANTED if most == resource.RLIM_INFINITY else min(OPEN_FILES_WANTED, most)
        if allowed < wanted:
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, most))
