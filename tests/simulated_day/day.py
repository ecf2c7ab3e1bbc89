"""The day itself: thirty pilots, three rounds, and what goes wrong on such a day, driven over HTTP."""

import asyncio
import time
from collections import Counter
from collections.abc import Awaitable, Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import httpx

from tests.browser.field_server import FieldServer
from tests.simulated_day.clocked_server import CLOCK_STARTS_AT
from tests.simulated_day.director import Director
from tests.simulated_day.judge import ASK, MAY_SWITCH_ON, STAY_OFF, Judge
from tests.simulated_day.phones import Phone

STARTS_AT = datetime(2026, 5, 16, 8, 0, tzinfo=UTC)
HEARTBEAT_S = 1.0
PATIENCE_S = 30.0
"""How long a word may take on a machine that does much else; what it did take is in the report."""


@dataclass
class Report:
    """What was seen on the day.

    words     how often each word came up on a phone
    wrong     words on a phone that the judge had not foreseen, as sentences
    delays_s  from a press to the word on the phone, by word
    refused   what was refused, with its sentence
    """

    acts: int = 0
    heats: list[str] = field(default_factory=list)
    words: Counter[str] = field(default_factory=Counter)
    delays_s: dict[str, list[float]] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    overrides: list[str] = field(default_factory=list)
    flights: dict[str, int] = field(default_factory=dict)
    flights_shown: dict[str, int] = field(default_factory=dict)
    logbook: str = ""
    took_s: float = 0.0

    @property
    def switched_on_wrongly(self) -> list[str]:
        return [one for one in self.wrong if any(f"showed {word}," in one for word in MAY_SWITCH_ON)]


class Day:
    """Acts one after the other; after each every phone has to show what the judge says."""

    def __init__(self, server: FieldServer, http: httpx.AsyncClient) -> None:
        self.server = server
        self.http = http
        self.director = Director(http)
        self.judge = Judge()
        self.phones: dict[str, Phone] = {}
        self.report = Report()
        self.clock = STARTS_AT
        self._changed = asyncio.Event()

    async def later(self, minutes: float) -> None:
        self.clock += timedelta(minutes=minutes)
        await self.http.post(f"/clock/{self.clock.isoformat()}")

    def give_phone(self, callsign: str, slot: str) -> None:
        phone = Phone(self.http, callsign, slot, HEARTBEAT_S)
        self.phones[callsign] = phone
        phone.watch(self._changed.set)

    async def act(self, do: Callable[[], Awaitable[object]], happens: Callable[[], None]) -> None:
        """Do it, and see that it shows on every phone, and nothing else on the way."""
        before, in_doubt_before = self.judge.words(), self.judge.in_doubt()
        counted = {name: len(phone.seen) for name, phone in self.phones.items()}
        began = time.monotonic()
        await do()
        happens()
        after, in_doubt = self.judge.words(), self.judge.in_doubt()
        await self._until_all_show(after)
        self.report.acts += 1
        for name, phone in self.phones.items():
            allowed = before.get(name, after[name]) | after[name]
            doubtful = {in_doubt[name], in_doubt_before.get(name, STAY_OFF)}
            self._judge(phone, counted[name], allowed | doubtful)
            if not phone.is_asleep and not before.get(name, after[name]) & after[name]:
                first = next(one for one in phone.seen[counted[name] :] if one.word in after[name])
                self.report.delays_s.setdefault(first.word, []).append(first.at - began)

    async def refused(self, path: str, **sent: str) -> None:
        """It is refused with a sentence, and no phone shows anything new."""
        sentences: list[str] = []

        async def press() -> None:
            sentences.append(await self.director.refused(path, **sent))

        await self.act(press, lambda: None)
        self.report.refused += sentences

    async def lose_the_server(self) -> None:
        """The server dies with everything as it is; phones turn doubtful, and know all again once it is back."""
        in_doubt, words = self.judge.in_doubt(), self.judge.words()
        counted = {name: len(phone.seen) for name, phone in self.phones.items()}
        self.server.kill()
        await self._until_all_show({name: frozenset({word}) for name, word in in_doubt.items()}, fresh=False)
        await asyncio.to_thread(self._start_again)
        await self._until_all_show(words)
        for name, phone in self.phones.items():
            self._judge(phone, counted[name], words[name] | {in_doubt[name]})

    async def sleep(self, callsign: str) -> None:
        """Long enough that what it showed may have passed."""
        await self.phones[callsign].sleep()
        await asyncio.sleep(2 * HEARTBEAT_S + 0.2)

    async def wake(self, callsign: str) -> None:
        """The phone shows no word that may have passed while it slept, and then the one that holds."""
        phone = self.phones[callsign]
        counted = len(phone.seen)
        phone.wake()
        if phone.seen[-1].word not in (STAY_OFF, ASK):
            self.report.wrong.append(f"{callsign} showed {phone.seen[-1].word}, having slept")
        await self._until_all_show(self.judge.words())
        self._judge(phone, counted, self.judge.words()[callsign] | {STAY_OFF, ASK})

    def _start_again(self) -> None:
        self.server.environment[CLOCK_STARTS_AT] = self.clock.isoformat()
        self.server.start()

    def _judge(self, phone: Phone, since: int, allowed: frozenset[str]) -> None:
        for one in phone.seen[since:]:
            self.report.words[one.word] += 1
            if one.word not in allowed:
                wanted = " or ".join(sorted(allowed))
                self.report.wrong.append(
                    f"act {self.report.acts}: {phone.callsign} showed {one.word}, not {wanted}"
                )

    async def _until_all_show(self, words: dict[str, frozenset[str]], fresh: bool = True) -> None:
        awake = [phone for phone in self.phones.values() if not phone.is_asleep]
        deadline = time.monotonic() + PATIENCE_S
        while wrong := [
            phone for phone in awake if phone.shown not in words[phone.callsign] or phone.is_fresh != fresh
        ]:
            left = deadline - time.monotonic()
            if left < 0:
                shown = {phone.callsign: (phone.shown, sorted(words[phone.callsign])) for phone in wrong}
                raise AssertionError(
                    f"after act {self.report.acts} these stay wrong (shown, wanted): {shown}"
                )
            self._changed.clear()
            with suppress(TimeoutError):
                await asyncio.wait_for(self._changed.wait(), min(left, 0.1))
        for phone in awake:
            phone.look()
