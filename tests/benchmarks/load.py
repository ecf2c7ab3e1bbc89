"""Print how a server bears a crowd: hundreds of phones that stream, publishes and check-ins meanwhile.

python3 -m server dev tests.benchmarks.load [--phones 500] [--seconds 60] [--weak 60] [--postgresql]

Everything is on loopback and ends by itself. The server is the real one, in processes of its own: one on a data
file, or two on a PostgreSQL server that the benchmark starts. The phones are this process: connections that read
compressed streams as browsers do. `--weak` of them sit behind a proxy with 300 ms of delay, 2 % of pieces that
come a second late, as a lost packet does, and holes of 30 s in which nothing comes.
"""

import argparse
import asyncio
import os
import random
import re
import statistics
import subprocess
import sys
import tempfile
import time
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import httpx

from server import paths
from server.services.roles import ORGANIZER
from server.storage.session import Database
from server.web.dependencies import COOKIE
from tests.factories import make_signed_in
from tests.postgresql_server import postgresql_server
from tests.simulated_day.director import Director
from tests.simulated_day.pages import form_to

TOKEN = "token-of-the-director"
PILOTS, AIRCRAFT, ROUNDS = 64, 6, 3
PUBLISHES_A_MINUTE, CHECK_INS_A_MINUTE = 20, 50
HEARTBEAT_S = 2.0
STARTING_UP_S = 90
DELAY_S, LATE_SHARE, LATE_S = 0.3, 0.02, 1.0
HOLE_S, BETWEEN_HOLES_S = 30.0, 60.0
_PLAN = re.compile(rb"Plan (\d+)(?:</strong>)?, published")


class Stream(asyncio.Protocol):
    """One connection of a phone: what came and when. It is read afterwards, so that reading delays nobody."""

    def __init__(self) -> None:
        self.came: list[tuple[float, bytes]] = []
        self.ended = asyncio.get_running_loop().create_future()

    def data_received(self, data: bytes) -> None:
        self.came.append((time.monotonic(), data))

    def connection_lost(self, exc: Exception | None) -> None:
        if not self.ended.done():
            self.ended.set_result(exc)

    def pieces(self) -> Iterator[tuple[float, bytes]]:
        """The chunks of the answer unpacked, each with the moment at which it was whole."""
        waiting, unpacker = b"", zlib.decompressobj(wbits=31)
        is_head = True
        for at, data in self.came:
            waiting += data
            if is_head:
                head, end, waiting = waiting.partition(b"\r\n\r\n")
                if not end:
                    waiting = head
                    continue
                assert b" 200 " in head.partition(b"\r\n")[0], head
                is_head = False
            while b"\r\n" in waiting:
                size, _, rest = waiting.partition(b"\r\n")
                length = int(size, 16)
                if not length or len(rest) < length + 2:
                    break
                yield at, unpacker.decompress(rest[:length])
                waiting = rest[length + 2 :]


@dataclass
class Phone:
    """A live page that connects again whenever it is cut off."""

    path: str
    streams: list[Stream] = field(default_factory=list)

    async def watch(self, port: int) -> None:
        request = (
            f"GET {self.path}/stream HTTP/1.1\r\nHost: localhost:{port}\r\nAccept-Encoding: gzip\r\n\r\n"
        )
        while True:
            try:
                transport, stream = await asyncio.get_running_loop().create_connection(
                    Stream, "127.0.0.1", port
                )
            except OSError:
                await asyncio.sleep(1)
                continue
            self.streams.append(stream)
            transport.write(request.encode())
            try:
                await stream.ended
            finally:
                transport.close()
            await asyncio.sleep(1)

    def plans(self) -> dict[int, float]:
        """When each plan came first."""
        found: dict[int, float] = {}
        for stream in self.streams:
            for at, piece in stream.pieces():
                for number in _PLAN.findall(piece):
                    found.setdefault(int(number), at)
        return found

    def longest_silence_s(self, since: float) -> float:
        heard = [at for stream in self.streams for at, _ in stream.came if at >= since]
        return max((after - before for before, after in pairwise(heard)), default=0.0)


class WeakNetwork:
    """A proxy of a bad radio: late, sometimes much later, and now and then silent for a while."""

    def __init__(self, port: int, seed: int) -> None:
        self._port, self._random = port, random.Random(seed)

    async def start(self) -> int:
        server = await asyncio.start_server(self._relay, "127.0.0.1", 0)
        return int(server.sockets[0].getsockname()[1])

    async def _relay(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        up_reader, up_writer = await asyncio.open_connection("127.0.0.1", self._port)
        hole_at = time.monotonic() + self._random.uniform(0, BETWEEN_HOLES_S)
        both = (self._carry(reader, up_writer, float("inf")), self._carry(up_reader, writer, hole_at))
        with suppress(asyncio.CancelledError):  # the benchmark is over
            await asyncio.gather(*both, return_exceptions=True)

    async def _carry(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, hole_at: float
    ) -> None:
        try:
            while piece := await reader.read(65536):
                if time.monotonic() > hole_at:
                    await asyncio.sleep(HOLE_S)
                    hole_at = time.monotonic() + BETWEEN_HOLES_S
                await asyncio.sleep(DELAY_S + (LATE_S if self._random.random() < LATE_SHARE else 0))
                writer.write(piece)
                await writer.drain()
        finally:
            writer.close()


@dataclass
class Done:
    """What the director and the desk did: each plan published, when it was pressed and when answered."""

    published: list[tuple[int, float, float]] = field(default_factory=list)
    check_ins_s: list[float] = field(default_factory=list)
    refused: int = 0


async def publish_again_and_again(director: Director, http: httpx.AsyncClient, done: Done) -> None:
    """Bring back the plan before, and publish it, twenty times a minute."""
    live = 2
    while True:
        next_at = time.monotonic() + 60 / PUBLISHES_A_MINUTE
        back = form_to((await http.get(f"/days/{director.code}/plan/{live - 1}")).text, "/plan/bring-back")
        await http.post(back.action, data=back.fields)
        page = (await http.get(f"/days/{director.code}/plan")).text
        form = form_to(page, "/plan/publish")
        pressed_at = time.monotonic()
        # Whoever came late flies in no heat, which the director answers for.
        answer = await http.post(form.action, data=form.fields | {"answers_for": "yes"})
        answered_at = time.monotonic()
        if answer.status_code != 303:
            done.refused += 1
        else:
            live += 1
            done.published.append((live, pressed_at, answered_at))
        await asyncio.sleep(max(0, next_at - time.monotonic()))


async def check_in_all_the_time(director: Director, http: httpx.AsyncClient, done: Done) -> None:
    number, arrivals = 0, random.Random(1)
    while True:
        # As people come, so that now and then one comes in the middle of a publish.
        next_at = time.monotonic() + arrivals.expovariate(CHECK_INS_A_MINUTE / 60)
        number += 1
        pressed_at = time.monotonic()
        answer = await http.post(
            f"/days/{director.code}/pilots", data={"line": f"Late{number} ABEFR 25,200 r"}
        )
        done.check_ins_s.append(time.monotonic() - pressed_at)
        done.refused += answer.status_code != 303
        await asyncio.sleep(max(0, next_at - time.monotonic()))


async def play(port: int, phones: int, weak: int, seconds: float, pids: Callable[[], Sequence[int]]) -> None:
    origin = f"http://localhost:{port}"
    async with httpx.AsyncClient(
        base_url=origin, headers={"Origin": origin}, cookies={COOKIE: TOKEN}, timeout=300
    ) as http:
        director, slots = await _published_day(http)
        print(f"  memory before the phones: {_memory(pids())}")
        own = [
            Phone(slots[number % len(slots)] if number % 5 else f"/board/{director.code}")
            for number in range(phones)
        ]
        far = [Phone(slots[number % len(slots)]) for number in range(weak)]
        done = Done()
        weak_port = await WeakNetwork(port, seed=1).start()
        watching = []
        for phone in own:
            watching.append(asyncio.create_task(phone.watch(port)))
            await asyncio.sleep(0.01)
        watching += [asyncio.create_task(phone.watch(weak_port)) for phone in far]
        await asyncio.sleep(5)
        began = time.monotonic()
        acting = [
            asyncio.create_task(publish_again_and_again(director, http, done)),
            asyncio.create_task(check_in_all_the_time(director, http, done)),
        ]
        await asyncio.sleep(seconds)
        print(f"  memory with them:         {_memory(pids())}")
        for task in acting:
            task.cancel()
        ended = await asyncio.gather(*acting, return_exceptions=True)
        await asyncio.sleep(3 * HEARTBEAT_S)
        for task in watching:
            task.cancel()
        await asyncio.gather(*watching, return_exceptions=True)
        _tell(own, far, done, began, [one for one in ended if not isinstance(one, asyncio.CancelledError)])


async def _published_day(http: httpx.AsyncClient) -> tuple[Director, list[str]]:
    """A planned day of 64 pilots with two published plans, and the pages of its pilots."""
    director = Director(http)
    await director.open_day("Crowded field", AIRCRAFT, ROUNDS, "tern-meadow")
    slots = [await director.check_in(f"Pilot{number} ABEFR 25,200 r") for number in range(PILOTS)]
    await director.plan()
    await director.publish()
    await director.check_in("Latest ABEFR 25,200 r")
    await director.plan()
    await director.publish()
    return director, slots


def _tell(own: list[Phone], far: list[Phone], done: Done, began: float, faults: list[object]) -> None:
    reached = [_delays(own, done), _delays(far, done)]
    print(f"  {len(done.published)} publishes, {len(done.check_ins_s)} check-ins, refused {done.refused}")
    for name, delays, phones in (("near", reached[0], own), ("weak", reached[1], far)):
        if phones:
            silence = max(phone.longest_silence_s(began) for phone in phones)
            print(
                f"  {name}: {len(phones)} phones, press of Publish to phone: {_shares(delays)}; longest silence "
                f"{silence:.1f} s; connections lost {sum(len(phone.streams) - 1 for phone in phones)}"
            )
    print(f"  check-in answered: {_shares(done.check_ins_s)}")
    print(f"  publish answered:  {_shares([answered - pressed for _, pressed, answered in done.published])}")
    for fault in faults:
        print(f"  FAULT: {fault!r}")


def _delays(phones: list[Phone], done: Done) -> list[float]:
    """From each press to the plan on each phone, or to the next plan where it came in a hole of the network."""
    found = []
    for plans in (phone.plans() for phone in phones):
        for number, pressed_at, _ in done.published:
            came = [at for one, at in plans.items() if one >= number]
            found += [min(came) - pressed_at] if came else []
    return found


def _shares(delays: Sequence[float]) -> str:
    if len(delays) < 2:
        return "none"
    shares = statistics.quantiles(delays, n=100)
    return (
        f"median {1000 * statistics.median(delays):.0f} ms, 99 % {1000 * shares[98]:.0f} ms, "
        f"longest {1000 * max(delays):.0f} ms of {len(delays)}"
    )


def _memory(pids: Sequence[int]) -> str:
    """The resident set of each process."""
    sizes = [re.search(r"VmRSS:\s+(\d+)", Path(f"/proc/{pid}/status").read_text()) for pid in pids]
    return ", ".join(f"{int(one[1]) / 1024:.0f} MiB" for one in sizes if one)


@contextmanager
def serving(folder: Path, database: str, workers: int) -> Iterator[tuple[int, Callable[[], list[int]]]]:
    """The real server; its port, and its processes that serve."""
    command = [sys.executable, "-m", "server.cli", "run", "--data", str(folder), "--host", "127.0.0.1"]
    command += ["--port", "0", "--workers", str(workers)]
    environment = os.environ | ({"BANDSTAND_DATABASE": database} if database else {})
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, text=True, cwd=paths.MIGRATIONS.parent, env=environment
    ) as process:
        assert process.stdout
        said = ""
        while "Stop with" not in said:
            said += process.stdout.readline()
        port = re.search(r"http://127\.0\.0\.1:(\d+)", said)
        assert port, said

        def pids() -> list[int]:
            if workers == 1:
                return [process.pid]
            found = subprocess.run(
                ["pgrep", "-P", str(process.pid)], capture_output=True, text=True, check=True
            )
            return [int(one) for one in found.stdout.split()][-workers:]

        try:
            yield int(port[1]), pids
        finally:
            told_at = time.monotonic()
            process.terminate()
            process.wait(30)
            print(f"  told to stop, it ended after {time.monotonic() - told_at:.1f} s")


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--phones", type=int, default=500)
    parser.add_argument("--weak", type=int, default=0)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--postgresql", action="store_true")
    options = parser.parse_args()
    with (
        tempfile.TemporaryDirectory() as folder,
        postgresql_server() if options.postgresql else nullcontext() as own_postgresql,
    ):
        database = ""
        if own_postgresql:
            own_postgresql.make_template()
            database = own_postgresql.address("as_migrated")
        workers = 2 if database else 1
        kind = "PostgreSQL, two processes" if database else "a data file, one process"
        print(f"{options.phones} phones and {options.weak} weak ones, {kind}:")
        with serving(Path(folder), database, workers) as (port, pids):
            _sign_in(Database(database or Path(folder) / "bandstand.sqlite"))
            asyncio.run(play(port, options.phones, options.weak, options.seconds, pids))


def _sign_in(database: Database) -> None:
    at = datetime.now(UTC)
    with database.write() as session:
        make_signed_in(session, TOKEN, ORGANIZER, at)
    database.close()


if __name__ == "__main__":
    main()
