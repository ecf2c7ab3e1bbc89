"""A real server on a port of its own, for what only real connections show."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager

import uvicorn
from fastapi import FastAPI

START_PATIENCE_S = 10


@contextmanager
def serving(app: FastAPI) -> Iterator[str]:
    """Serve the application in a thread; gives its address."""
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=0, log_level="warning"))
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        yield f"http://127.0.0.1:{_port_of(server, thread)}"
    finally:
        app.state.hub.close()
        server.should_exit = True
        thread.join(START_PATIENCE_S)


def _port_of(server: uvicorn.Server, thread: threading.Thread) -> int:
    waited = threading.Event()
    for _ in range(START_PATIENCE_S * 100):
        if server.started:
            return server.servers[0].sockets[0].getsockname()[1]
        assert thread.is_alive(), "the server did not start"
        waited.wait(0.01)
    raise AssertionError("the server took too long to start")
