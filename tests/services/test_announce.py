"""Who is told what after a commit."""

import asyncio

import pytest

from server.services import live
from server.services.board import Board
from server.services.live import Hub, Message, board_topic, slot_topic, tell_watchers
from server.storage import pilots
from tests.factories import make_day, make_logbook_entry, make_pilot
from tests.factories_snapshot import publish


def encode(state):
    told = state.plan_number if isinstance(state, Board) else [heat.tuned.mhz for heat in state.heats]
    return f"{state.order} {told}".encode()


@pytest.fixture
def hub():
    """Open on a loop that runs only when a test lets it."""
    hub = Hub(encode)
    hub.loop = asyncio.new_event_loop()
    hub.open(hub.loop)
    yield hub
    hub.loop.close()


@pytest.fixture
def field(database):
    """A day with Wren and Otter in plan 1."""
    with database.write() as session:
        day = make_day(session)
        wren, otter = make_pilot(session, day, "Wren"), make_pilot(session, day, "Otter")
        publish(session, day, [[(wren, "R1"), (otter, "F4")]])
    return day, wren, otter


def waiting(hub, subscription):
    """Every message that has come, with only its words."""

    async def all_of_them():
        await asyncio.sleep(0)
        found = []
        while True:
            try:
                found.append(await subscription.next(0.01))
            except TimeoutError:
                return found

    return hub.loop.run_until_complete(all_of_them())


def once(message):
    async def read():
        return message

    return read


async def never():
    raise AssertionError("it read what the others have")


def replan(database, day, heats):
    with database.write() as session:
        return publish(session, day, heats)


def test_the_board_and_each_pilot_are_told_their_own(hub, database, field):
    day, wren, otter = field
    board = hub.subscribe(board_topic(day.code))
    of_wren, of_otter = (hub.subscribe(slot_topic(day.id, one.link_token)) for one in (wren, otter))
    tell_watchers(database, hub, day.id)
    assert waiting(hub, board) == [b"1 1"]
    assert waiting(hub, of_wren) == [b"1 [5658]"]
    assert waiting(hub, of_otter) == [b"1 [5800]"]


def test_what_did_not_change_is_not_sent_again(hub, database, field):
    day, wren, _ = field
    board, of_wren = hub.subscribe(board_topic(day.code)), hub.subscribe(slot_topic(day.id, wren.link_token))
    tell_watchers(database, hub, day.id)
    with database.write() as session:
        make_pilot(session, day, "Latecomer")
        make_logbook_entry(session, day)
    tell_watchers(database, hub, day.id)
    assert waiting(hub, board) == [b"1 1", b"2 1"]
    assert waiting(hub, of_wren) == [b"1 [5658]"]


def test_what_somebody_read_makes_the_next_announcement_news(hub, database, field):
    """It may be later than what was told last."""
    day, topic = field[0], board_topic(field[0].code)
    hub.subscribe(topic).close()
    tell_watchers(database, hub, day.id)
    newcomer = hub.subscribe(topic)
    hub.loop.run_until_complete(hub.first(topic, once(Message(1, b"read"))))
    tell_watchers(database, hub, day.id)
    assert waiting(hub, newcomer) == [b"1 1"]


def test_a_newcomer_beside_others_is_no_news(hub, database, field):
    day, topic = field[0], board_topic(field[0].code)
    first = hub.subscribe(topic)
    tell_watchers(database, hub, day.id)
    assert waiting(hub, first) == [b"1 1"]
    newcomer = hub.subscribe(topic)
    begins_with = hub.loop.run_until_complete(hub.first(topic, never))
    tell_watchers(database, hub, day.id)
    assert (begins_with.data, waiting(hub, newcomer)) == (b"1 1", [])


def test_other_days_hear_nothing(hub, database, field):
    with database.write() as session:
        other = make_day(session)
    board = hub.subscribe(board_topic(other.code))
    tell_watchers(database, hub, field[0].id)
    assert waiting(hub, board) == []


def test_nothing_is_written_for_topics_that_nobody_watches(database, field):
    day, wren, _ = field
    written = []
    hub = Hub(lambda state: written.append(state) or b"")
    hub.subscribe(slot_topic(day.id, wren.link_token))
    tell_watchers(database, hub, day.id)
    assert [state.callsign for state in written] == ["Wren"]


def test_a_replaced_link_is_dismissed_and_the_others_stay(hub, database, field):
    day, wren, otter = field
    old = hub.subscribe(slot_topic(day.id, wren.link_token))
    of_otter = hub.subscribe(slot_topic(day.id, otter.link_token))
    with database.write() as session:
        pilots.by_id(session, day.id, wren.id).link_token = "a-new-one"
        make_logbook_entry(session, day)
    tell_watchers(database, hub, day.id)
    assert waiting(hub, old) == [None]
    assert waiting(hub, of_otter) == [b"2 [5800]"]


def test_announcements_take_turns_so_that_a_late_reading_is_never_sent_last(
    hub, database, field, monkeypatch
):
    """While one is being told, the next waits with its reading."""
    day, wren, otter = field
    board = hub.subscribe(board_topic(day.code))
    locked = []
    read = live.board_of_day

    def read_and_look(session, one):
        locked.append(hub.one_announcement.locked())
        return read(session, one)

    monkeypatch.setattr(live, "board_of_day", read_and_look)
    tell_watchers(database, hub, day.id)
    replan(database, day, [[(otter, "R1"), (wren, "F4")]])
    tell_watchers(database, hub, day.id)
    assert locked == [True, True]
    assert waiting(hub, board) == [b"1 1", b"2 2"]


def test_a_day_that_is_gone_is_passed_over(hub, database):
    tell_watchers(database, hub, 999)
