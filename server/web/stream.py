"""Live pages: states of a topic as server-sent events, with signs of life between them.

A stream holds no database session: the state it starts with is read and the session closed before the first
byte. Signs of life carry data, since comments and events without data never reach a page's script.

Each stream is compressed as one text, so that a state costs little more than what it changes of the one before.
What comes after the same words is compressed once for all who had them.
"""

import asyncio
import json
import signal
import struct
import threading
import zlib
from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from types import FrameType
from typing import Any

from fastapi import Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import StreamingResponse
from starlette.types import Receive, Scope, Send

from server.services.live import Hub, Message, Subscription

RECONNECT_AFTER_MS = 1000
STREAM_HEADERS = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}  # a proxy must not collect it
GZIP_HEADERS = {"Content-Encoding": "gzip", "Vary": "Accept-Encoding"}
GZIP_HEAD = bytes((0x1F, 0x8B, 8, 0, 0, 0, 0, 0, 0, 0xFF))
"""No name, no time, no system: RFC 1952, 2.3."""
GZIP_WINDOW_BITS = 15
"""How far back a state may refer, 32 KiB: further than a usual board is long."""


@dataclass(frozen=True)
class State:
    """What a live page shows, and its order from the database: a state with a lower one is older."""

    order: int
    html: str


def state_event(state: State) -> bytes:
    return _event("state", {"order": state.order, "html": state.html})


def heartbeat_event(order: int, at: datetime) -> bytes:
    return _event("hb", {"order": order, "at": at.isoformat(timespec="seconds")})


def publish(hub: Hub, topic: str, state: State) -> None:
    """Send a state to every live page of the topic. Call it after the commit, never before."""
    hub.publish(topic, state.order, state_event(state))


async def open_stream(request: Request, topic: str, current: Callable[[], State]) -> StreamingResponse:
    """The endless answer of a live page: `current` now, then every state published on the topic.

    `current` is read only where nobody else watches. It opens and closes its own database session; it runs in a
    thread, and what it raises is answered as on any page. The topic is watched before `current` is read, so no
    state falls between the two.
    """

    async def read() -> Message:
        found = await run_in_threadpool(current)
        return Message(found.order, state_event(found))

    state = request.app.state
    subscription = state.hub.subscribe(topic)
    try:
        first = await state.hub.first(topic, read)
    except BaseException:
        subscription.close()
        raise
    events = _events(
        subscription,
        first,
        lambda: state.hub.order(topic),
        state.clock,
        state.settings.heartbeat_s,
        state.settings.stream_life_s,
        getattr(request.state, "is_still_admitted", None),
    )
    if "gzip" in request.headers.get("Accept-Encoding", ""):
        return _EventStream(compressed(events), subscription, GZIP_HEADERS)
    return _EventStream(events, subscription)


async def _events(
    subscription: Subscription,
    first: Message,
    newest_order: Callable[[], int],
    clock: Callable[[], datetime],
    heartbeat_s: float,
    life_s: float,
    is_still_admitted: Callable[[], bool] | None = None,
) -> AsyncIterator[bytes]:
    """States and signs of life, until the time is over or whoever watches is signed out."""
    ends_at = asyncio.get_running_loop().time() + life_s
    yield f"retry: {RECONNECT_AFTER_MS}\n\n".encode() + first.data
    while asyncio.get_running_loop().time() < ends_at:
        try:
            message = await subscription.next(heartbeat_s)
        except TimeoutError:
            message = heartbeat_event(max(first.order, newest_order()), clock())
        if message is None or not await _may_go_on(is_still_admitted):
            return
        yield message


async def _may_go_on(is_still_admitted: Callable[[], bool] | None) -> bool:
    return is_still_admitted is None or await run_in_threadpool(is_still_admitted)


async def compressed(events: AsyncIterator[bytes]) -> AsyncIterator[bytes]:
    """One gzip text (RFC 1952), of which each event goes out whole, at once."""
    head, before, checksum, length = GZIP_HEAD, b"", 0, 0
    async for event in events:
        yield head + _packed(event, before)
        # After a state all who watch a topic have had the same, whenever they came.
        before = event if b"event: state" in event[:40] else (before + event)[-(2**GZIP_WINDOW_BITS) :]
        head, checksum, length = b"", zlib.crc32(event, checksum), length + len(event)
    yield head + _packed(b"", b"", zlib.Z_FINISH) + struct.pack("<II", checksum, length % 2**32)


@lru_cache(maxsize=512)
def _packed(text: bytes, before: bytes, ends: int = zlib.Z_SYNC_FLUSH) -> bytes:
    """Whole blocks (RFC 1951) that may refer to what was sent just before."""
    packer = zlib.compressobj(wbits=-GZIP_WINDOW_BITS, zdict=before)
    return packer.compress(text) + packer.flush(ends)


class _EventStream(StreamingResponse):
    """Leaves the hub however the stream ends."""

    def __init__(
        self, events: AsyncIterator[bytes], subscription: Subscription, more_headers: Mapping[str, str] = {}
    ) -> None:
        headers = {**STREAM_HEADERS, **more_headers}
        super().__init__(events, media_type="text/event-stream", headers=headers)
        self._subscription = subscription

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._subscription.close()


def _event(name: str, data: dict[str, Any]) -> bytes:
    return f"event: {name}\ndata: {json.dumps(data, ensure_ascii=False)}\n\n".encode()


@contextmanager
def closed_at_signals(hub: Hub) -> Iterator[None]:
    """Close the hub when the server is told to stop, then let the server do what it does.

    The server waits for open connections before it runs any code of ours, and a stream never ends by itself:
    without this Ctrl-C would hang. Off the main thread there are no signals to hear.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}

    def close_then(number: int, frame: FrameType | None) -> None:
        hub.close()
        handler = before[signal.Signals(number)]
        if callable(handler):
            handler(number, frame)

    for number, handler in before.items():
        if callable(handler):  # else nobody would stop the process after us
            signal.signal(number, close_then)
    try:
        yield
    finally:
        for number, handler in before.items():
            if signal.getsignal(number) is close_then:
                signal.signal(number, handler)
