import asyncio
from concurrent.futures import ThreadPoolExecutor

import pytest

from server.services.live import QUEUE_LENGTH, Hub, Message


def on_a_loop(test):
    """Run an async test function; the hub is open on its loop."""

    def run():
        async def with_hub():
            hub = Hub()
            hub.open(asyncio.get_running_loop())
            await test(hub)

        asyncio.run(with_hub())

    run.__name__ = test.__name__
    return run


def once(message):
    async def read():
        return message

    return read


async def all_waiting(subscription):
    """Every message that is waiting now."""
    await asyncio.sleep(0)
    found = []
    while True:
        try:
            found.append(await subscription.next(0.01))
        except TimeoutError:
            return found


@on_a_loop
async def test_a_message_reaches_all_who_watch_its_topic_and_nobody_else(hub):
    first, second, other = hub.subscribe("board:1"), hub.subscribe("board:1"), hub.subscribe("board:2")
    hub.publish("board:1", 1, b"a")
    assert await all_waiting(first) == [b"a"]
    assert await all_waiting(second) == [b"a"]
    assert await all_waiting(other) == []


@on_a_loop
async def test_a_slow_watcher_loses_the_oldest_and_keeps_the_newest(hub):
    slow = hub.subscribe("board:1")
    for order in range(1, QUEUE_LENGTH + 4):
        hub.publish("board:1", order, b"%d" % order)
    waiting = await all_waiting(slow)
    assert waiting == [b"%d" % order for order in range(4, QUEUE_LENGTH + 4)]


@on_a_loop
async def test_a_state_that_comes_late_is_not_sent(hub):
    watcher = hub.subscribe("board:1")
    hub.publish("board:1", 7, b"newer")
    hub.publish("board:1", 6, b"older")
    assert await all_waiting(watcher) == [b"newer"]
    assert hub.order("board:1") == 7
    assert hub.order("board:2") == 0


@on_a_loop
async def test_threads_may_publish(hub):
    watcher = hub.subscribe("board:1")
    with ThreadPoolExecutor(4) as threads:
        publishing = [threads.submit(hub.publish, "board:1", 1, b"a") for _ in range(4)]
        await asyncio.to_thread(lambda: [one.result() for one in publishing])
    assert await all_waiting(watcher) == [b"a"] * 4


@on_a_loop
async def test_closing_ends_every_watch_even_a_full_one(hub):
    idle, full = hub.subscribe("board:1"), hub.subscribe("board:2")
    for order in range(QUEUE_LENGTH):
        hub.publish("board:2", order, b"x")
    hub.close()
    assert await all_waiting(idle) == [None]
    assert (await all_waiting(full))[-1] is None


@on_a_loop
async def test_a_watch_that_begins_after_closing_ends_at_once(hub):
    hub.close()
    await asyncio.sleep(0)
    assert await hub.subscribe("board:1").next(1) is None


@on_a_loop
async def test_who_leaves_is_forgotten(hub):
    watcher = hub.subscribe("board:1")
    assert hub.watching("board:1") == 1
    watcher.close()
    watcher.close()
    assert hub.watching("board:1") == 0


@on_a_loop
async def test_patience_ends(hub):
    with pytest.raises(TimeoutError):
        await hub.subscribe("board:1").next(0.01)


def test_without_a_server_what_is_published_reaches_nobody():
    hub = Hub()
    hub.publish("board:1", 1, b"a")
    hub.close()
    assert hub.order("board:1") == 0


@on_a_loop
async def test_many_who_come_at_once_read_once(hub):
    for _ in range(5):
        hub.subscribe("board:1")
    reads = []

    async def read():
        reads.append(1)
        await asyncio.sleep(0.01)
        return Message(3, b"c")

    begun = await asyncio.gather(*(hub.first("board:1", read) for _ in range(5)))
    assert (len(reads), {one.data for one in begun}) == (1, {b"c"})


@on_a_loop
async def test_a_state_that_comes_while_one_reads_takes_its_place(hub):
    hub.subscribe("board:1")

    async def read():
        hub.publish("board:1", 4, b"d")
        await asyncio.sleep(0)
        return Message(3, b"c")

    assert await hub.first("board:1", read) == Message(4, b"d")


@on_a_loop
async def test_what_nobody_watched_is_read_anew(hub):
    hub.subscribe("board:1").close()
    hub.publish("board:1", 4, b"d")
    await asyncio.sleep(0)
    hub.subscribe("board:1")
    assert await hub.first("board:1", once(Message(5, b"e"))) == Message(5, b"e")


@on_a_loop
async def test_after_the_last_has_left_nothing_is_kept(hub):
    first = hub.subscribe("board:1")
    await hub.first("board:1", once(Message(3, b"c")))
    first.close()
    hub.subscribe("board:1")
    assert await hub.first("board:1", once(Message(4, b"d"))) == Message(4, b"d")


@on_a_loop
async def test_who_cannot_read_leaves_the_next_to_try(hub):
    hub.subscribe("board:1")

    async def fails():
        raise LookupError

    with pytest.raises(LookupError):
        await hub.first("board:1", fails)
    assert await hub.first("board:1", once(Message(3, b"c"))) == Message(3, b"c")


@on_a_loop
async def test_a_dismissed_topic_is_read_anew(hub):
    hub.subscribe("slot:1:old")
    await hub.first("slot:1:old", once(Message(3, b"c")))
    hub.dismiss("slot:1:old")
    await asyncio.sleep(0)
    assert await hub.first("slot:1:old", once(Message(4, b"d"))) == Message(4, b"d")
