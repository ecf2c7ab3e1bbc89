"""The application with one live page, as a process of its own: `python -m tests.web.stream_server FOLDER`.

Prints its port once it listens.
"""

import socket
import sys
from contextlib import suppress
from pathlib import Path

import uvicorn
from fastapi import FastAPI, Request

from server.main import create_app
from server.services.errors import NotFoundError
from server.settings import Settings
from server.web import stream
from server.web.dependencies import public

TOPIC = "board:1"


def with_live_page(app: FastAPI) -> FastAPI:
    """Add `/live`, a page that starts from the database, and `/live?day=none`, which is nowhere."""

    @app.get("/live")
    @public
    async def live(request: Request, day: str = "tern"):
        def current() -> stream.State:
            if day == "none":
                raise NotFoundError("There is no such day.")
            with app.state.database.read() as session:
                return stream.State(app.state.database.order(session, 1), "<p>now</p>")

        return await stream.open_stream(request, TOPIC, current)

    return app


def main() -> None:
    app = with_live_page(create_app(Settings(data=Path(sys.argv[1]), heartbeat_s=0.2)))
    listener = socket.create_server(("127.0.0.1", 0))
    print(listener.getsockname()[1], flush=True)
    server = uvicorn.Server(uvicorn.Config(app, log_level="warning", timeout_graceful_shutdown=30))
    with suppress(KeyboardInterrupt):  # the server raises it again once it has stopped
        server.run(sockets=[listener])


if __name__ == "__main__":
    main()
