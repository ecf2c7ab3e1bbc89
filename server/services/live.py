"""The hub: whoever watches a topic gets each new state of it.

Messages are encoded once and handed to every watcher's queue. A watcher that is slow loses the oldest
message, not the newest: each message is a whole state, so the next one heals the gap. Everything runs on one
event loop; `publish` and `close` may be called from any thread.
"""

import asyncio
from collections import defaultdict
from collections.abc import Callable

QUEUE_LENGTH = 8


class Subscription:
    """One watcher's queue. `None` out of `next` means that the hub has closed."""

    def __init__(self, leave: Callable[["Subscription"], None]) -> None:
        self._queue: asyncio.Queue[bytes | None] = asyncio.Queue(QUEUE_LENGTH)
        self._leave = leave

    def put(self, message: bytes | None) -> None:
        if self._queue.full():
            self._queue.get_nowait()
        self._queue.put_nowait(message)

    async def next(self, patience_s: float) -> bytes | None:
        """The next message; raises TimeoutError if none comes in time."""
        async with asyncio.timeout(patience_s):
            return await self._queue.get()

    def close(self) -> None:
        self._leave(self)


class Hub:
    def __init__(self) -> None:
        self._loop: asyncio.AbstractEventLoop | None = None
        self._watchers: defaultdict[str, set[Subscription]] = defaultdict(set)
        self._orders: dict[str, int] = {}
        self._is_closed = False

    def open(self, loop: asyncio.AbstractEventLoop) -> None:
        """Start on the loop of the server; without one, what is published reaches nobody."""
        self._loop = loop
        self._is_closed = False

    def close(self) -> None:
        """End every stream, so that the server can stop at once."""
        self._on_the_loop(self._close)

    def publish(self, topic: str, order: int, message: bytes) -> None:
        """Send a state to all who watch the topic, unless a later one was sent already."""
        self._on_the_loop(self._publish, topic, order, message)

    def subscribe(self, topic: str) -> Subscription:
        """Watch a topic from now on; call it on the loop."""
        watchers = self._watchers[topic]
        subscription = Subscription(watchers.discard)
        watchers.add(subscription)
        if self._is_closed:
            subscription.put(None)
        return subscription

    def order(self, topic: str) -> int:
        """The order of the last state sent, 0 before the first."""
        return self._orders.get(topic, 0)

    def watching(self, topic: str) -> int:
        return len(self._watchers[topic]) if topic in self._watchers else 0

    def _on_the_loop(self, act: Callable[..., None], *arguments: object) -> None:
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(act, *arguments)

    def _publish(self, topic: str, order: int, message: bytes) -> None:
        if order < self.order(topic):
            return
        self._orders[topic] = order
        for subscription in self._watchers.get(topic, ()):
            subscription.put(message)

    def _close(self) -> None:
        self._is_closed = True
        for watchers in self._watchers.values():
            for subscription in watchers:
                subscription.put(None)
