"""Several press at one instant, on a real server: one press is taken, no stage is skipped, nothing is lost."""

from collections import Counter
from concurrent.futures import ThreadPoolExecutor

import httpx
import pytest

from server.services import calls, days
from server.storage import logbook
from server.web.dependencies import COOKIE
from tests.factories import make_day, make_pilot
from tests.factories_snapshot import publish
from tests.services.called_days import call_heat, place, stages
from tests.serving import serving

AT_ONCE = 8


@pytest.fixture
def day(database):
    with database.write() as session:
        day = make_day(session, code="tern")
        wren, otter = make_pilot(session, day, "Wren"), make_pilot(session, day, "Otter")
        publish(session, day, [[(wren, "R1"), (otter, "R8")]])
    return day


@pytest.fixture
def press_at_once(app, director):
    """`press_at_once(path, sent)`: the same press from AT_ONCE browsers; how often each status came back."""

    def press(address: str, path: str, sent: dict[str, str]) -> int:
        headers, cookies = {"Origin": address}, {COOKIE: director.cookies[COOKIE]}
        return httpx.post(address + path, data=sent, headers=headers, cookies=cookies, timeout=30).status_code

    def at_once(path: str, sent: dict[str, str]) -> Counter[int]:
        with serving(app) as address, ThreadPoolExecutor(AT_ONCE) as directors:
            return Counter(directors.map(lambda _: press(address, path, sent), range(AT_ONCE)))

    return at_once


def actions(database, day):
    with database.read() as session:
        return Counter(entry.action for entry in logbook.newest_first(session, day.id, 50))


def test_a_heat_is_called_once(press_at_once, database, day):
    with database.read() as session:
        seen = calls.seen_of(session, days.day_with(session, "tern"))
    assert press_at_once("/days/tern/line/call", {"heats": "1", "seen": seen}) == {303: 1, 409: AT_ONCE - 1}
    with database.read() as session:
        assert sorted(stages(session, day).values()) == ["power up", "waiting"]
    assert actions(database, day)["heat called"] == 1


def test_a_picture_is_confirmed_once_and_only_the_next_one_gets_the_turn(press_at_once, database, day):
    with database.write() as session:
        here = days.day_with(session, "tern")
        call_heat(session, here, 1)
        first = place(session, here, next(iter(stages(session, here))))
        path, sent = f"/days/tern/line/slots/{first.id}/picture-is-clear", {"seen": first.seen}
    assert press_at_once(path, sent) == {303: 1, 409: AT_ONCE - 1}
    with database.read() as session:
        assert sorted(stages(session, day).values()) == ["picture clear", "power up"]
    assert actions(database, day)["picture is clear"] == 1


def test_everybody_land_is_taken_from_whoever_presses(press_at_once, database, day):
    with database.write() as session:
        call_heat(session, days.day_with(session, "tern"), 1)
    sent = {"reason": "Air ambulance."}
    assert press_at_once("/days/tern/line/everybody-land", sent) == {303: AT_ONCE}
    with database.read() as session:
        assert sorted(stages(session, day).values()) == ["landed", "left out"]
    assert actions(database, day)["everybody land"] == 1
