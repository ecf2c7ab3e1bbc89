"""Thirty phones: each streams its pilot's page, knows when it has lost the server, sleeps, and presses."""

import asyncio
import json
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass

import httpx

from tests.simulated_day.pages import form_to, forms_of, words_of

LOOK_EVERY_S = 0.05
RECONNECT_AFTER_S = 0.3


@dataclass(frozen=True)
class Seen:
    """From `at` on, in seconds of this machine's clock, the phone showed the word."""

    at: float
    word: str


class Phone:
    """One pilot's phone. It does as `live.js` does: a later order wins, and after two heartbeats without a sign of
    life it shows the word in doubt; while it sleeps nobody sees it.
    """

    def __init__(self, http: httpx.AsyncClient, callsign: str, slot: str, heartbeat_s: float) -> None:
        self.callsign = callsign
        self.slot = slot
        self.seen: list[Seen] = []
        self.html = ""
        self._http = http
        self._stale_after_s = 2 * heartbeat_s
        self._words = ("", "")
        self._order = -1
        self._heard_at = time.monotonic()
        self._stream: asyncio.Task[None] | None = None
        self._on_change: Callable[[], None] = lambda: None

    def watch(self, on_change: Callable[[], None]) -> None:
        self._on_change = on_change
        self._stream = asyncio.create_task(self._listen())

    @property
    def is_asleep(self) -> bool:
        return self._stream is None

    @property
    def is_fresh(self) -> bool:
        return time.monotonic() - self._heard_at <= self._stale_after_s

    @property
    def shown(self) -> str:
        fresh, in_doubt = self._words
        return fresh if self.is_fresh else in_doubt

    def look(self) -> None:
        """Note what is on the screen, if that has changed."""
        if self.html and not self.is_asleep and (not self.seen or self.seen[-1].word != self.shown):
            self.seen.append(Seen(time.monotonic(), self.shown))
            self._on_change()

    async def sleep(self) -> None:
        if self._stream is not None:
            stream, self._stream = self._stream, None
            stream.cancel()
            with suppress(asyncio.CancelledError):
                await stream

    def wake(self) -> None:
        self._stream = asyncio.create_task(self._listen())
        self.seen.append(Seen(time.monotonic(), self.shown))  # before anything came from the server

    async def press(self, button: str) -> None:
        """Press a button of the page as it stands."""
        form = next((one for one in forms_of(self.html) if one.says(button)), None)
        assert form is not None, f"{self.callsign}'s phone has no button {button!r}, and shows {self.shown}"
        answer = await self._http.post(form.action, data=form.fields)
        assert answer.status_code == 303, f"{self.callsign}, {button}: {answer.status_code}"

    async def ask_to_switch_on(self, why: str) -> None:
        form = form_to(self.html, "/clearance")
        answer = await self._http.post(form.action, data={**form.fields, "why": why})
        assert answer.status_code == 303, f"{self.callsign}: {answer.status_code}"

    async def _listen(self) -> None:
        while True:
            with suppress(httpx.TransportError):
                async with self._http.stream("GET", f"{self.slot}/stream") as answer:
                    event = ""
                    async for line in answer.aiter_lines():
                        if line.startswith("event: "):
                            event = line.removeprefix("event: ")
                        elif line.startswith("data: "):
                            self._hear(event, json.loads(line.removeprefix("data: ")))
            await asyncio.sleep(RECONNECT_AFTER_S)

    def _hear(self, event: str, data: dict[str, str | int]) -> None:
        if event == "state" and int(data["order"]) >= self._order:
            self._order, self.html = int(data["order"]), str(data["html"])
            self._words = words_of(self.html)
        self._heard_at = time.monotonic()
        self.look()


async def look_at_all(phones: list[Phone]) -> None:
    """Look at every screen again and again, since a word turns doubtful without a message."""
    while True:
        for phone in phones:
            phone.look()
        await asyncio.sleep(LOOK_EVERY_S)
