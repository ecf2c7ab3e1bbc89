import re

import pytest

from server.services import plans
from server.services.jobs import Job
from server.services.slots import slot_by_token
from server.services.standings import standing
from server.storage import days, logbook, pilots
from server.web.fragments import Fragments
from tests.factories import make_pilot
from tests.services.changed_days import id_of, published_day
from tests.services.planned_days import day_with_pilots, version
from tests.waiting import ended_job
from tests.web.test_plan_page import hidden, publish_as_seen, show


@pytest.fixture
def day(database):
    """Wren, Otter and Rook in heat 1, Quill and Teasel in heat 2; heat 1 is flown; Late has come."""
    with database.write() as session:
        day = published_day(
            session, "Wren", "Otter", "Rook", "Quill", "Teasel", flown=1, aircraft=3, code="tern"
        )
        make_pilot(session, day, "Late")
    return day


def pilot_id(database, day, callsign):
    with database.read() as session:
        return id_of(session, day, callsign)


def change(director, app, database, day, act, **fields):
    """Say what happened, and wait for the rows."""
    with database.read() as session:
        seen = version(session, days.by_id(session, day.id))
    answer = director.post("/days/tern/plan/change", data={"act": act, "version": seen} | fields)
    if answer.status_code == 303 and app.state.jobs.latest(day.id, "change"):
        ended_job(app.state.jobs, day.id, "change")
    return answer


class TestPanel:
    def test_before_anything_is_published_there_is_none(self, director, database):
        with database.write() as session:
            day_with_pilots(session, code="tern")
        assert "The day changes" not in director.get("/days/tern/plan").text

    def test_it_offers_what_can_happen_and_says_which_heat_is_next(self, director, day):
        page = show(director, "/days/tern/plan")
        assert "next to fly: heat 2" in page
        for words in (
            "Arrives late, or is back",
            "Flies no more",
            "Channel found noisy",
            "Down, still on",
            "Heat to be flown again",
        ):
            assert f">{words}</label>" in page
        assert "Flies another aircraft" not in page
        assert "A spare aircraft is entered with its pilot at Check-in" in page

    def test_a_day_that_has_begun_offers_no_plan_of_the_whole_day(self, director, day):
        page = show(director, "/days/tern/plan")
        assert "Plan channels</button>" not in page
        assert "How many can fly?" not in page
        answer = director.post("/days/tern/plan/compute")
        assert answer.status_code == 422
        assert "would rewrite them" in answer.text

    def test_the_next_heat_is_set_and_noted(self, director, database, day):
        assert director.post("/days/tern/plan/next-heat", data={"next_heat": "3"}).status_code == 303
        page = show(director, "/days/tern/plan")
        assert "all heats are flown" in page
        assert "Arrives late" not in page
        with database.read() as session:
            assert logbook.newest_first(session, day.id, 1)[0].text == "Heats 1 to 2 are flown."

    def test_a_heat_that_is_not_there_is_told_at_its_field(self, director, day):
        answer = director.post("/days/tern/plan/next-heat", data={"next_heat": "9"})
        assert answer.status_code == 422
        assert "Plan 1 has heats 1 to 2. Choose one of them." in answer.text
        assert re.search(r'<details class="card plan-changes" id="plan-changes" open>', answer.text)

    def test_strangers_may_say_nothing(self, client, day):
        for path in ("next-heat", "change", "change/take", "change/found", "change/close"):
            assert client.post(f"/days/tern/plan/{path}").status_code == 403


class TestLateArrival:
    def test_from_press_to_publish(self, director, app, database, day):
        late = pilot_id(database, day, "Late")
        assert change(director, app, database, day, "late", pilot=late).status_code == 303
        page = show(director, "/days/tern/plan")
        assert "<h2>Late arrives late.</h2>" in page
        assert "Late joins heat 2 on " in page
        assert "proved" in page
        assert (
            director.post("/days/tern/plan/change/take", data=hidden(page, "change/take")).status_code == 303
        )
        page = show(director, "/days/tern/plan")
        assert "Late arrives late." not in page
        assert "Late comes in: " in page  # against plan 1
        assert "Publish plan 2</button>" in page
        assert publish_as_seen(director, day).status_code == 303
        assert "Plan 2 is live" in show(director, "/days/tern/plan")

    @pytest.mark.parametrize(("flown", "advice"), [(0, True), (1, False)])
    def test_before_the_first_heat_planning_again_is_the_other_way(
        self, director, app, database, day, flown, advice
    ):
        director.post("/days/tern/plan/next-heat", data={"next_heat": str(flown + 1)})
        change(director, app, database, day, "late", pilot=pilot_id(database, day, "Late"))
        page = show(director, "/days/tern/plan")
        assert ("“Plan again” puts all heats together anew" in page) is advice

    def test_a_choice_that_is_none_is_told_in_the_panel(self, director, app, database, day):
        answer = change(director, app, database, day, "late", pilot="999")
        assert answer.status_code == 422
        assert "Choose a pilot who is checked in and in no heat ahead." in answer.text
        assert "Not done" not in answer.text

    def test_rows_of_a_day_that_changed_are_not_offered(self, director, app, database, day):
        late = pilot_id(database, day, "Late")
        change(director, app, database, day, "late", pilot=late)
        old = hidden(director.get("/days/tern/plan").text, "change/take")
        director.post("/days/tern/plan/next-heat", data={"next_heat": "1"})
        page = show(director, "/days/tern/plan")
        assert "The day changed since these rows were worked out." in page
        refused = director.post("/days/tern/plan/change/take", data=old)
        assert refused.status_code == 409
        assert "look again what it costs" in refused.text
        again = hidden(page, "change")
        assert again["joining"] == str(late)
        director.post("/days/tern/plan/change", data=again)
        ended_job(app.state.jobs, day.id, "change")
        assert "Late joins heat " in show(director, "/days/tern/plan")

    def test_rows_that_are_gone_are_told(self, director, day):
        answer = director.post("/days/tern/plan/change/take", data={"job": "4", "row": "0", "version": "1"})
        assert answer.status_code == 409
        assert "These rows are gone" in answer.text

    def test_the_rows_can_be_closed(self, director, app, database, day):
        change(director, app, database, day, "look")
        assert "The day as it stands." in director.get("/days/tern/plan").text
        director.post("/days/tern/plan/change/close")
        assert "The day as it stands." not in director.get("/days/tern/plan").text

    def test_while_another_job_runs_nothing_is_noted(self, director, app, database, day, monkeypatch):
        busy = Job(1, "plan", day.id)
        monkeypatch.setattr(app.state.jobs, "running", lambda _day: busy)
        answer = director.post(
            "/days/tern/plan/change",
            data={"act": "gone", "pilot": str(pilot_id(database, day, "Rook")), "state": "withdrawn"},
        )
        monkeypatch.undo()
        assert answer.status_code == 422
        with database.read() as session:
            assert pilots.by_callsign_key(session, day.id, "rook").state == "checked in"


class TestOtherEvents:
    def test_a_withdrawal_can_be_taken_back_where_it_was_made(self, director, app, database, day):
        quill = pilot_id(database, day, "Quill")
        change(director, app, database, day, "gone", pilot=quill, state="withdrawn")
        page = show(director, "/days/tern/plan")
        assert "Undo: Quill withdraws." in page
        director.post(
            "/days/tern/plan/change",
            data=hidden(page, "change") | {"act": "back", "pilot": quill, "undo": "yes"},
        )
        page = show(director, "/days/tern/plan")
        assert "Quill withdraws." not in page
        with database.read() as session:
            assert pilots.by_callsign_key(session, day.id, "quill").state == "checked in"

    def test_down_still_on_stays_listed_until_found(self, director, app, database, day):
        change(director, app, database, day, "down", pilot=pilot_id(database, day, "Otter"))
        page = show(director, "/days/tern/plan")
        assert "Otter on 5695 MHz, since 10:30" in page
        assert "Teasel moves from R2 5695 to " in page
        found = hidden(page, "change/found")
        assert director.post("/days/tern/plan/change/found", data=found).status_code == 303
        ended_job(app.state.jobs, day.id, "change")
        page = show(director, "/days/tern/plan")
        assert "since 10:30" not in page
        again = director.post("/days/tern/plan/change/found", data=found)
        assert again.status_code == 409
        assert "somebody noted it as found" in again.text

    def test_who_lost_the_place_is_offered_one_once_found(self, director, app, database, day):
        change(director, app, database, day, "down", pilot=pilot_id(database, day, "Teasel"))
        page = show(director, "/days/tern/plan")
        taken = director.post("/days/tern/plan/change/take", data=hidden(page, "change/take"))
        assert taken.status_code == 303
        page = show(director, "/days/tern/plan")
        director.post("/days/tern/plan/change/found", data=hidden(page, "change/found"))
        ended_job(app.state.jobs, day.id, "change")
        page = show(director, "/days/tern/plan")
        assert re.search(
            r"<h2>Teasel&#39;s transmitter is found and off: \d{4} MHz is clear again.</h2>", page
        )
        assert "Teasel joins heat 2 on " in page

    def test_a_noisy_channel_stays_listed_until_it_is_clear_again(self, director, app, database, day):
        change(director, app, database, day, "noisy", mhz=5695)
        page = show(director, "/days/tern/plan")
        assert "5695 MHz is noisy and out of use from now on." in page
        assert "Clear again: use 5695 MHz" in page

    def test_who_cannot_fly_any_more_is_named(self, director, app, database, day):
        with database.write() as session:
            for one in pilots.aircraft_of(session, id_of(session, day, "Teasel")):
                one.tunes = "R2"
        change(director, app, database, day, "noisy", mhz=5695)
        assert "Teasel sits out: this gear has no channel left." in show(director, "/days/tern/plan")


def test_pilots_who_do_not_move_hear_nothing_but_the_number(director, app, database, day):
    """What a phone marks as changed are its keyed texts: they are the same under the new plan."""
    with database.read() as session:
        quill = pilots.by_callsign_key(session, day.id, "quill").link_token
        before = slot_by_token(session, quill)
    change(director, app, database, day, "noisy", mhz=5695)
    page = director.get("/days/tern/plan").text
    director.post("/days/tern/plan/change/take", data=hidden(page, "change/take"))
    assert publish_as_seen(director, day).status_code == 303
    with database.read() as session:
        after = slot_by_token(session, quill)
        teasel = slot_by_token(session, pilots.by_callsign_key(session, day.id, "teasel").link_token)
        assert standing(session, days.by_id(session, day.id)).published["number"] == 2
    assert teasel.moved_from is not None
    assert after.moved_from is None
    assert (before.plan_number, after.plan_number) == (1, 2)
    assert [as_set(heat) for heat in before.heats] == [as_set(heat) for heat in after.heats]
    fragments: Fragments = app.state.fragments
    assert keyed(fragments.state(before).html) == keyed(fragments.state(after).html)
    assert keyed(fragments.state(after).html) != keyed(fragments.state(teasel).html)


def test_a_flown_heat_names_no_later_move(director, app, database, day):
    change(director, app, database, day, "again", heat=1)
    change(director, app, database, day, "noisy", mhz=5658)
    take = hidden(director.get("/days/tern/plan").text, "change/take")
    assert director.post("/days/tern/plan/change/take", data=take).status_code == 303
    flown, again = show(director, "/days/tern/plan").split('id="heat-3"')
    assert "was R1 5658" in again
    assert "was R1 5658" not in flown.split('id="heat-2"')[0]


def test_no_level_of_power_is_offered_once_a_heat_is_flown(director, database):
    with database.write() as session:
        day = published_day(session, code="tern")
        for pilot in pilots.of_day(session, day.id):
            pilots.aircraft_of(session, pilot.id)[0].power_mw = "25 200"
    assert "Set 200 mW for all" in show(director, "/days/tern/plan")
    director.post("/days/tern/plan/next-heat", data={"next_heat": "2"})
    page = show(director, "/days/tern/plan")
    assert "Set 200 mW for all" not in page
    assert "once heats are flown, the level stays" in page


def as_set(heat):
    """What the pilot has to do for a heat."""
    return heat.number, heat.round, heat.tuned, heat.power_mw


def keyed(html: str) -> list[tuple[str, str]]:
    """The texts that a phone compares, by their key."""
    return re.findall(r'data-key="([\w-]+)"[^>]*>(.*?)</(?:div|p|li)>', html, re.DOTALL)


class TestFlownHeats:
    def test_a_flown_heat_is_marked_and_offers_no_change(self, director, database, day):
        wren = pilot_id(database, day, "Wren")
        page = show(director, f"/days/tern/plan?heat=1&pilot={wren}")
        assert page.count("<strong>flown</strong>") == 1
        assert "Delete heat 1" not in page
        assert "Delete heat 2" in page
        assert "Change Wren in heat 1" not in page
        assert "What would help most" in page

    def test_a_plan_is_published_behind_a_flown_heat_whose_pilot_left(self, director, app, database, day):
        change(director, app, database, day, "gone", pilot=pilot_id(database, day, "Wren"), state="withdrawn")
        change(director, app, database, day, "noisy", mhz=5695)
        page = director.get("/days/tern/plan").text
        director.post("/days/tern/plan/change/take", data=hidden(page, "change/take"))
        assert publish_as_seen(director, day).status_code == 303
        first, second = (published(database, day, number)["heats"][0] for number in (1, 2))
        assert first == second

    def test_no_advice_is_given_while_a_transmitter_is_down(self, director, app, database, day):
        quill = pilot_id(database, day, "Quill")
        change(director, app, database, day, "down", pilot=pilot_id(database, day, "Wren"))
        page = show(director, f"/days/tern/plan?heat=2&pilot={quill}")
        assert "No advice is given while a transmitter is down and still on." in page


def published(database, day, number):
    with database.read() as session:
        return plans.published_plan(session, days.by_id(session, day.id), number)
