"""Bandstand as a process of its own that can be killed, frozen and started again on the same data and port."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import httpx

from server import paths
from tests.ports import free_port

HOST = "field.local"
"""The name under which browsers reach it: like a phone's address at the field it is no secure context."""

HEARTBEAT_S = 0.5
PATIENCE_S = 60


class FieldServer:
    """`command` is what follows `python -m`; it gets `--data`, `--host` and `--port`, and `environment`."""

    def __init__(self, folder: Path, *command: str) -> None:
        self.folder = folder
        self.database_file = folder / "bandstand.sqlite"
        self.port = free_port()
        self.address = f"http://{HOST}:{self.port}"
        self.start_patience_s: float = PATIENCE_S
        self.environment = {"BANDSTAND_HEARTBEAT_S": str(HEARTBEAT_S)}
        self._command = command
        self._log = folder / "server.log"
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> "FieldServer":
        options = ("--data", str(self.folder), "--host", "127.0.0.1", "--port", str(self.port))
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-m", *self._command, *options],
                stdout=log,
                stderr=log,
                cwd=paths.MIGRATIONS.parent,
                env={**os.environ, **self.environment},
            )
        self._wait_until_it_answers()
        return self

    @property
    def is_running(self) -> bool:
        return self._process is not None and self._process.poll() is None

    @property
    def pid(self) -> int:
        assert self._process is not None
        return self._process.pid

    def kill(self) -> None:
        """As a power cut would: nothing is closed, nothing said."""
        self._send(signal.SIGKILL)
        assert self._process is not None
        self._process.wait(PATIENCE_S)

    def freeze(self) -> None:
        """Connections stay open and nothing comes, as on a Wi-Fi that was left."""
        self._send(signal.SIGSTOP)

    def thaw(self) -> None:
        self._send(signal.SIGCONT)

    def stop(self) -> None:
        """As Ctrl-C does."""
        if self._process is not None and self.is_running:
            self.thaw()
            self._send(signal.SIGTERM)
            self._process.wait(PATIENCE_S)

    def ask(self, path: str, **options: object) -> httpx.Response:
        """Ask the server from here, past the browser."""
        return httpx.get(f"http://127.0.0.1:{self.port}{path}", **options)  # type: ignore[arg-type]

    @property
    def said(self) -> str:
        """All that it printed, its pass phrase among it."""
        return self._log.read_text(encoding="utf-8")

    def _send(self, number: signal.Signals) -> None:
        assert self._process is not None
        self._process.send_signal(number)

    def _wait_until_it_answers(self) -> None:
        assert self._process is not None
        deadline = time.monotonic() + self.start_patience_s
        while time.monotonic() < deadline:
            assert self._process.poll() is None, self.said
            try:
                if self.ask("/health").status_code == 200:
                    return
            except httpx.TransportError:
                time.sleep(0.05)
        raise AssertionError(f"the server did not answer:\n{self.said}")
