"""The hub: whoever watches a topic gets each new state of it.

Messages are encoded once and handed to every watcher's queue. A watcher that is slow loses the oldest
message, not the newest: each message is a whole state, so the next one heals the gap. A newcomer begins with
what the others have: when a server starts again, hundreds of phones come back within a second. Everything runs
on one event loop; all but `subscribe` and `first` may be called from any thread.
"""

import asyncio
import threading
from collections import defaultdict
from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from sqlmodel import Session

from server.services.board import Board, board_of_day
from server.services.day_now import DayNow
from server.services.line_desk import LineDesk, line_desk
from server.services.slots import MySlot, slots_of_day
from server.services.trouble_views import TroubleDesk, trouble_desk
from server.services.turn_views import DeskOfTurns
from server.storage import days
from server.storage.session import Database
from server.storage.tables import FieldDay

QUEUE_LENGTH = 8

Shown = Board | MySlot | DeskOfTurns | LineDesk | TroubleDesk
"""What live pages show."""

Encode = Callable[[Shown], bytes]


def board_topic(code: str) -> str:
    return f"board:{code}"


def desk_topic(code: str) -> str:
    """The desk of open flying; its stream is for the director alone."""
    return f"open-flying:{code}"


def line_topic(code: str) -> str:
    """The flight line; its stream is for the director alone."""
    return f"line:{code}"


def trouble_topic(code: str) -> str:
    """The trouble desk, for the director alone."""
    return f"trouble:{code}"


def slot_topic(field_day_id: int, link_token: str) -> str:
    """By the link, not by the pilot: whoever watches through a link that was replaced hears nothing more."""
    return f"slot:{field_day_id}:{link_token}"


def announce(database: Database, hub: "Hub", field_day_id: int) -> None:
    """Send whoever watches the day what has changed for them. Call it after the commit, never before.

    Where the database itself tells every server process of the change, this one hears of it like the others.
    """
    if not database.tells_changes:
        tell_watchers(database, hub, field_day_id)


def tell_everybody(database: Database, hub: "Hub") -> None:
    """Send all watchers of all days the present state: after a gap in which changes may have gone unheard."""
    with database.read() as session:
        ids = [day.id for day in days.newest_first(session) if day.id is not None]
    for field_day_id in ids:
        tell_watchers(database, hub, field_day_id)


def tell_watchers(database: Database, hub: "Hub", field_day_id: int) -> None:
    """Send those who watch the day at this process its present state, if it is news to them."""
    with hub.one_announcement:
        with database.read() as session:
            day = days.by_id(session, field_day_id)
            if day is None:
                return
            states = _states(session, day, hub)
        for topic, state in states.items():
            hub.tell(topic, state)
        for topic in hub.watched(slot_topic(field_day_id, "")) - set(states):
            hub.dismiss(topic)


def _states(session: Session, day: FieldDay, hub: "Hub") -> dict[str, "Shown"]:
    """By topic, what its watchers are to see; topics that nobody watches are not even read."""
    assert day.id is not None
    found: dict[str, Shown] = {}
    now = DayNow(session, day)
    if hub.watched(slot_topic(day.id, "")):
        found |= {slot_topic(day.id, slot.link_token): slot for slot in slots_of_day(session, now)}
    if hub.watching(board_topic(day.code)):
        found[board_topic(day.code)] = board_of_day(session, now)
    if hub.watching(desk_topic(day.code)):
        found[desk_topic(day.code)] = now.flying.desk()
    if hub.watching(line_topic(day.code)):
        found[line_topic(day.code)] = line_desk(session, day)
    if hub.watching(trouble_topic(day.code)):
        found[trouble_topic(day.code)] = trouble_desk(session, day)
    return found


@dataclass(frozen=True)
class Message:
    """A whole state as it is sent, and its order from the database: one with a lower order is older."""

    order: int
    data: bytes


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
    """Who watches what.

    encode            writes the message of a state; without it `tell` reaches nobody
    one_announcement  hold it from reading a state to telling it, so that what is told only moves forward
    """

    def __init__(self, encode: Encode | None = None) -> None:
        self.one_announcement = threading.Lock()
        self._encode = encode
        self._told: dict[str, Shown] = {}
        self._loop: asyncio.AbstractEventLoop | None = None
        self._watchers: defaultdict[str, set[Subscription]] = defaultdict(set)
        self._orders: dict[str, int] = {}
        self._latest: dict[str, Message] = {}
        self._newcomers: defaultdict[str, asyncio.Lock] = defaultdict(asyncio.Lock)
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

    def tell(self, topic: str, state: Shown) -> None:
        """Publish a state, unless nobody watches or it says what was told last."""
        if self._encode is None or not self.watching(topic) or self._told.get(topic) == state:
            return
        self._told[topic] = state
        self.publish(topic, state.order, self._encode(state))

    def dismiss(self, topic: str) -> None:
        """End the streams of a topic."""
        self._on_the_loop(self._dismiss, topic)

    def subscribe(self, topic: str) -> Subscription:
        """Watch a topic from now on; call it on the loop."""
        subscription = Subscription(lambda one: self._leave(topic, one))
        self._watchers[topic].add(subscription)
        if self._is_closed:
            subscription.put(None)
        return subscription

    async def first(self, topic: str, read: Callable[[], Awaitable[Message]]) -> Message:
        """What one who watches already begins with: what the others have, else what it reads for all.

        Raises what `read` raises; whoever comes next then reads anew.
        """
        async with self._newcomers[topic]:
            if topic not in self._latest:
                # What is read may be later than what was told last: the next state is news to somebody.
                self._told.pop(topic, None)
                message = await read()
                self._latest.setdefault(topic, message)  # unless a later one was sent meanwhile
            return self._latest[topic]

    def order(self, topic: str) -> int:
        """The order of the last state sent, 0 before the first."""
        return self._orders.get(topic, 0)

    def watching(self, topic: str) -> int:
        return len(self._watchers.get(topic, ()))

    def watched(self, prefix: str) -> set[str]:
        """The topics that begin so and have watchers."""
        return {topic for topic in list(self._watchers) if topic.startswith(prefix) and self.watching(topic)}

    def _on_the_loop(self, act: Callable[..., None], *arguments: object) -> None:
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(act, *arguments)

    def _leave(self, topic: str, subscription: Subscription) -> None:
        watchers = self._watchers[topic]
        watchers.discard(subscription)
        if not watchers:  # nobody is told what changes from now on, so nothing that is kept stays true
            del self._watchers[topic]
            self._latest.pop(topic, None)
            self._newcomers.pop(topic, None)

    def _publish(self, topic: str, order: int, message: bytes) -> None:
        if order < self.order(topic):
            return
        self._orders[topic] = order
        if self.watching(topic):
            self._latest[topic] = Message(order, message)
        for subscription in self._watchers.get(topic, ()):
            subscription.put(message)

    def _dismiss(self, topic: str) -> None:
        self._latest.pop(topic, None)
        for subscription in self._watchers.get(topic, ()):
            subscription.put(None)

    def _close(self) -> None:
        self._is_closed = True
        for topic in self._watchers:
            self._dismiss(topic)
