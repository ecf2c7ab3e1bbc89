import json
import re

import pytest

from server.allocator import solve
from server.services import edits, plans
from server.services.standings import standing
from server.storage import days, pilots, published_plans
from server.storage.tables import WITHDRAWN
from server.web.plan_editor import slot_editor
from tests.factories import NOW, make_day, make_pilot
from tests.factories_snapshot import make_snapshot
from tests.services.changed_days import CREW, id_of, published_day
from tests.services.planned_days import day_with_pilots, edit, plan_at_once, version, waiting_plan
from tests.waiting import ended_job


@pytest.fixture
def day(database):
    """Wren, Otter and Rook, planned for two at once; nothing published."""
    with database.write() as session:
        day = day_with_pilots(session, "Wren", "Otter", "Rook", aircraft=2, code="tern")
        plan_at_once(session, day)
    return day


def hidden(html: str, action: str) -> dict[str, str]:
    """The hidden fields of the first form that posts to an address."""
    form = re.search(rf'<form method="post" action="/days/\w+/plan/{action}".*?</form>', html, re.DOTALL)
    assert form, f"no form posts to {action}"
    return dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', form[0]))


def show(director, address: str) -> str:
    """The page with plain spaces, as people read it."""
    return director.get(address).text.replace("\N{NO-BREAK SPACE}", " ")


def act(director, database, day, name, **fields):
    with database.read() as session:
        now = version(session, days.by_id(session, day.id))
    return director.post(f"/days/{day.code}/plan/edit", data={"act": name, "version": now} | fields)


def pilot_id(database, day, callsign):
    with database.read() as session:
        return pilots.by_callsign_key(session, day.id, callsign.casefold()).id


def job_ended(app, day):
    kind = "plan" if app.state.jobs.latest(day.id, "plan") else "compare"
    return ended_job(app.state.jobs, day.id, kind)


def publish_as_seen(director, day, **fields):
    seen = hidden(director.get(f"/days/{day.code}/plan").text, "publish")
    return director.post(f"/days/{day.code}/plan/publish", data=seen | fields)


class TestMargins:
    def test_the_picture_and_the_tables_say_the_same(self, director, day):
        text = show(director, "/days/tern/plan")
        drawn = re.search(r"<desc[^>]*>The worst first: (.*?)</desc>", text)[1]
        for callsign in ("Wren", "Otter"):
            row = re.search(rf">{callsign}</a>.*?</tr>", text, re.DOTALL)[0]
            margin = re.search(r"[+\N{MINUS SIGN}]\d+\.\d dB", row)[0]
            word = re.search(r"grade__word[^>]*>([^<]+)<", row)[1]
            assert f"{callsign} {margin}, {word}, in heat 1" in drawn
        assert "Rook alone, clean, in heat 2" in drawn

    def test_a_published_plan_shows_them_as_stored(self, director, day):
        publish_as_seen(director, day)
        assert "Rook alone, clean, in heat 2" in show(director, "/days/tern/plan/1")

    def test_without_a_plan_there_is_no_picture(self, director, database):
        with database.write() as session:
            make_pilot(session, make_day(session, code="bare"), "Wren")
        assert "margins" not in re.findall(
            r'<figure class="picture (\w+)"', show(director, "/days/bare/plan")
        )


class TestShowing:
    def test_strangers_are_sent_to_sign_in(self, client, day):
        assert client.get("/days/tern/plan").status_code == 303

    def test_an_empty_day_leads_to_check_in(self, director, database):
        with database.write() as session:
            make_day(session, code="none")
        page = director.get("/days/none/plan").text
        assert "Nobody is checked in" in page
        assert 'href="/days/none/check-in"' in page

    def test_a_day_without_plan_has_one_primary_button(self, director, database):
        with database.write() as session:
            day_with_pilots(session, code="tern")
        page = director.get("/days/tern/plan").text
        assert page.count("button--primary") == 1
        assert "Plan channels</button>" in page

    def test_a_draft_shows_margin_beside_ceiling_grade_and_cause(self, director, day):
        page = show(director, "/days/tern/plan")
        assert page.count("button--primary") == 1
        assert "Publish plan 1</button>" in page
        # The carrier next door needs -25.6 dB; far off it would be -28 dB: both less 20 dB of distance.
        assert re.search(r"\+5\.6 dB</span>.*of.*\+8\.0 dB</span> possible here", page)
        assert "Otter&#39;s carrier, 37 MHz above, takes 100 %" in page
        assert "Flies alone: nothing interferes" in page
        assert ">clean</span>" in page

    def test_a_day_that_everybody_left_still_shows_its_draft(self, director, database, day):
        with database.write() as session:
            for pilot in pilots.of_day(session, day.id):
                pilot.state = WITHDRAWN
        assert "Otter is withdrawn: the slot in heat 1 is empty." in show(director, "/days/tern/plan")

    def test_a_callsign_is_text_and_never_markup(self, director, database):
        with database.write() as session:
            day = day_with_pilots(session, "<b>Wren</b>", "Otter", code="mark")
            plan_at_once(session, day)
        page = director.get("/days/mark/plan?heat=1&pilot=1").text
        assert "<b>Wren" not in page
        assert "&lt;b&gt;Wren" in page

    def test_the_editor_lists_what_each_channel_would_bring(self, director, database, day):
        wren = pilot_id(database, day, "Wren")
        page = director.get(f"/days/tern/plan?heat=1&pilot={wren}").text
        assert "R8 5917: worst +8.0 dB, clean</option>" in page
        assert "E1 5705: worst" in page
        assert "10 MHz from a neighbour</option>" in page
        assert "Pin to 5658" in page

    def test_the_editor_offers_no_heat_that_is_flown(self, database):
        with database.write() as session:
            day = published_day(session, *CREW, "Magpie", "Kit", flown=1)
            editor = slot_editor(standing(session, day).draft, 2, id_of(session, day, "Rook"))
        assert {int(number) for number, _ in editor.heats} == {3}
        assert {place.partition(":")[0] for place, _ in editor.trades} == {"3"}

    def test_an_editor_of_nobody_is_no_error(self, director, day):
        assert director.get("/days/tern/plan?heat=9&pilot=77").status_code == 200

    def test_how_sure_and_what_it_rests_on_is_there_to_open(self, director, day):
        page = director.get("/days/tern/plan").text
        assert '<th scope="row">near</th><td>8 m</td>' in page
        assert "A measurement on the site beats it." in page


class TestExplaining:
    def test_an_open_slot_says_what_takes_its_margin_and_what_would_help(self, director, database, day):
        wren = pilot_id(database, day, "Wren")
        page = show(director, f"/days/tern/plan?heat=1&pilot={wren}")
        assert page.count('class="why"') == 1
        assert "Otter&#39;s carrier, 37 MHz above, takes 100 %" in page.split('class="why"')[1]
        assert "Without Otter: this slot alone, 5.0 clean" in page
        assert "No choice of channels can give this slot more than +8.0 dB with 2 up" in page

    def test_a_published_slot_shows_what_was_stored(self, director, database, day):
        publish_as_seen(director, day)
        wren = pilot_id(database, day, "Wren")
        with database.write() as session:
            stored_day = days.by_id(session, day.id)
            stored_day.settings_json = '{"site": {"near_m": 40}}'
        page = show(director, f"/days/tern/plan/1?heat=1&pilot={wren}")
        assert "No choice of channels can give this slot more than +8.0 dB with 2 up" in page
        assert "Pin to" not in page

    def test_a_plan_stored_without_explanation_is_readable(self, director, database, day):
        with database.write() as session:
            stored = days.by_id(session, day.id)
            wren = pilots.by_callsign_key(session, day.id, "wren")
            otter = pilots.by_callsign_key(session, day.id, "otter")
            snapshot = make_snapshot(stored, [[(wren, "R1"), (otter, "R8")]])
            for slot in snapshot["heats"][0]["slots"]:
                del slot["explanation"]
            published_plans.publish(session, stored.id, json.dumps(snapshot), "1", NOW, "director")
        page = show(director, f"/days/tern/plan/1?heat=1&pilot={wren.id}")
        assert "This plan was stored without its explanation." in page

    def test_the_numbers_name_gap_and_span_over_receivers(self, director, day):
        page = show(director, "/days/tern/plan")
        assert "Gap to that" in page
        assert "5.0 to 5.0" in page


class TestChanging:
    def test_a_change_comes_back_to_the_same_editor(self, director, database, day):
        wren = pilot_id(database, day, "Wren")
        answer = act(director, database, day, "tune", heat=1, pilot=wren, mhz=5880)
        assert answer.status_code == 303
        assert answer.headers["location"] == f"/days/tern/plan?heat=1&pilot={wren}"
        page = director.get(answer.headers["location"]).text
        assert "Wren moves to F8 5880." in page
        assert hidden(page, "undo")

    # Every act of the page, with the fields that its form sends besides heat and pilot.
    @pytest.mark.parametrize(
        ("name", "fields", "told"),
        [
            ("swap", {"other": "Otter"}, "Wren and Otter swap: R2 5695 and R1 5658."),
            ("move", {"to_heat": 2}, "Wren moves from heat 1 to heat 2."),
            ("trade", {"place": "2:Rook"}, "Wren (heat 1) and Rook (heat 2) change places."),
            ("pin", {}, "Wren stays on R1 5658 in later plans."),
            ("unpin", {}, "Wren is free to move in later plans."),
            ("power", {"power_mw": "200"}, "Wren sets 200 mW."),
            ("power", {"power_mw": ""}, "Wren sets 25 mW, like the others."),
            ("remove", {}, "Wren is out of heat 1."),
            ("ban", {"mhz": 5658}, "5658 MHz is out of use today."),
            ("delete heat", {}, "Heat 1 is deleted, with 2 pilots in it."),
            ("put in", {"callsigns": "wren rook", "into": ""}, "Wren and Rook fly in the new heat 3."),
        ],
    )
    def test_each_act_is_made_and_told(self, director, database, day, name, fields, told):
        ids = {callsign: str(pilot_id(database, day, callsign)) for callsign in ("Wren", "Otter", "Rook")}
        sent = {
            key: re.sub("Otter|Rook", lambda found: ids[found[0]], str(value))
            for key, value in fields.items()
        }
        answer = act(director, database, day, name, heat=1, pilot=ids["Wren"], **sent)
        assert answer.status_code == 303
        assert told in director.get("/days/tern/plan").text

    def test_undo_stands_where_the_act_was(self, director, database, day):
        act(director, database, day, "delete heat", heat=1)
        page = director.get("/days/tern/plan").text
        answer = director.post("/days/tern/plan/undo", data=hidden(page, "undo"))
        assert answer.status_code == 303
        assert "Heat 2" in director.get("/days/tern/plan").text

    def test_a_wrong_callsign_keeps_what_was_typed(self, director, database, day):
        answer = act(director, database, day, "put in", callsigns="Wren Oter", into="")
        assert answer.status_code == 422
        assert 'value="Wren Oter"' in answer.text
        assert "write Otter" in answer.text

    def test_a_channel_of_another_band_is_refused_under_its_field(self, director, database, day):
        wren = pilot_id(database, day, "Wren")
        answer = act(director, database, day, "tune", heat=1, pilot=wren, mhz=5362)
        assert answer.status_code == 422
        assert "Wren cannot use 5362 MHz today." in answer.text

    @pytest.mark.parametrize(
        "fields",
        [
            {"act": "fly away"},
            {"act": "tune", "pilot": "x", "mhz": "5880"},
            {"act": "tune", "pilot": "99", "mhz": "5880"},
            {"act": "power", "pilot": "1", "power_mw": "much"},
            {"act": "trade", "pilot": "1", "heat": "1", "place": "2"},
            {"act": "delete heat", "heat": "7"},
            {"act": "ban", "mhz": ""},
        ],
    )
    def test_a_form_that_no_page_makes_is_answered_with_the_page(self, director, database, day, fields):
        answer = act(director, database, day, **{"name": fields["act"]} | fields)
        assert answer.status_code == 422
        assert "Not done" in answer.text or "field__error" in answer.text

    def test_a_stale_page_is_told_both_and_can_make_the_change_now(self, director, database, day):
        wren, otter = pilot_id(database, day, "Wren"), pilot_id(database, day, "Otter")
        with database.read() as session:
            old = version(session, days.by_id(session, day.id))
        act(director, database, day, "tune", heat=1, pilot=wren, mhz=5880)
        fields = {"act": "tune", "version": old, "heat": 1, "pilot": otter, "mhz": 5732}
        answer = director.post("/days/tern/plan/edit", data=fields)
        assert answer.status_code == 409
        assert "Wren moves to F8 5880." in answer.text
        assert "Not made: Otter moves to R3 5732." in answer.text
        again = hidden(answer.text, "edit")
        assert again["mhz"] == "5732"
        assert director.post("/days/tern/plan/edit", data=again).status_code == 303
        assert "Otter moves to R3 5732." in director.get("/days/tern/plan").text

    def test_a_broken_rule_is_named_beside_the_plan(self, director, database, day):
        wren = pilot_id(database, day, "Wren")
        act(director, database, day, "tune", heat=1, pilot=wren, mhz=5705)
        page = director.get("/days/tern/plan").text
        assert "Wren and Otter are 10 MHz apart, less than 20." in page
        assert "I answer for it" in page

    def test_a_banned_channel_can_be_used_again(self, director, database, day):
        act(director, database, day, "ban", mhz=5800)
        page = director.get("/days/tern/plan").text
        assert "Clear again: use 5800 MHz" in page
        act(director, database, day, "lift ban", mhz=5800)
        assert "Use 5800 MHz again" not in director.get("/days/tern/plan").text


class TestPublishing:
    def test_gives_the_next_number_and_stands_on_the_page(self, director, day):
        answer = publish_as_seen(director, day)
        assert answer.status_code == 303
        page = director.get("/days/tern/plan").text
        assert "Plan 1 is live" in page
        assert "Plan channels</button>" in page
        assert "Publish plan" not in page

    def test_tells_those_who_watch_after_the_commit(self, director, day, database, monkeypatch):
        told = []

        def announce(database, _hub, day_id):
            with database.read() as session:
                told.append((day_id, published_plans.latest(session, day_id).number))

        monkeypatch.setattr("server.services.live.announce", announce)
        publish_as_seen(director, day)
        assert told == [(day.id, 1)]

    def test_waits_for_rules_and_says_where_they_are_chosen(self, director, database):
        with database.write() as session:
            day = day_with_pilots(session, "Wren", code="rule", responsibility=None)
            plan_at_once(session, day)
        page = director.get("/days/rule/plan").text
        assert 'href="/days/rule/site"' in page
        assert re.search(r"<button[^>]*disabled[^>]*>Publish plan 1", page)
        answer = director.post("/days/rule/plan/publish", data=hidden(page, "publish"))
        assert answer.status_code == 422
        assert "No rules are chosen" in answer.text

    def test_two_directors_press_and_the_second_sees_the_firsts_plan(self, director, database, day):
        seen = hidden(director.get("/days/tern/plan").text, "publish")
        director.post("/days/tern/plan/publish", data=seen)
        answer = director.post("/days/tern/plan/publish", data=seen, follow_redirects=True)
        assert answer.status_code == 200
        assert "Plan 1 is live" in answer.text
        with database.read() as session:
            assert len(plans.history(session, days.by_id(session, day.id))) == 1

    def test_broken_rules_need_a_tick(self, director, database, day):
        wren = pilot_id(database, day, "Wren")
        act(director, database, day, "tune", heat=1, pilot=wren, mhz=5705)
        answer = publish_as_seen(director, day)
        assert answer.status_code == 422
        assert "tick that you answer for it" in answer.text
        assert publish_as_seen(director, day, answers_for="yes").status_code == 303

    def test_a_published_plan_is_shown_as_it_was_stored(self, director, database, day):
        publish_as_seen(director, day)
        with database.write() as session:
            stored = published_plans.latest(session, day.id)
            facts = json.loads(stored.snapshot_json)
            aircraft = pilots.aircraft_of(session, pilots.by_callsign_key(session, day.id, "wren").id)[0]
            aircraft.power_mw, aircraft.rx_antenna = "600", "linear"
        page = show(director, "/days/tern/plan/1")
        assert f"{facts['worst_margin_db']:+.1f} dB" in page
        assert "25 mW" in page
        assert "Bring back" not in page
        # The page to work on says that today's gear gives other margins.
        assert "it was published with" in director.get("/days/tern/plan").text

    def test_an_older_plan_comes_back_as_a_draft(self, director, database, day):
        publish_as_seen(director, day)
        with database.write() as session:
            now = days.by_id(session, day.id)
            wren = pilots.by_callsign_key(session, day.id, "wren").id
            edit(session, now, lambda content, basis: edits.tune(content, basis, wren, 5880))
        publish_as_seen(director, day)
        page = director.get("/days/tern/plan/1").text
        answer = director.post("/days/tern/plan/bring-back", data=hidden(page, "bring-back"))
        assert answer.status_code == 303
        page = director.get("/days/tern/plan").text
        assert "Plan 1 is brought back as the draft." in page
        assert "Wren moves from F8 5880 to R1 5658" in page

    def test_no_page_for_a_plan_that_is_not_there(self, director, day):
        assert director.get("/days/tern/plan/7").status_code == 404

    def test_latecomers_are_named_beside_the_published_plan(self, director, database, day):
        publish_as_seen(director, day)
        with database.write() as session:
            make_pilot(session, day, "Late One")
        assert "Late One is checked in and in no heat." in director.get("/days/tern/plan").text


class TestComputing:
    def test_one_press_computes_a_draft(self, director, app, database):
        with database.write() as session:
            day = day_with_pilots(session, "Wren", "Otter", code="comp")
        assert director.post("/days/comp/plan/compute").status_code == 303
        job_ended(app, day)
        page = director.get("/days/comp/plan").text
        assert "Planned 2 pilots in 1 heat, worst margin +8.0 dB." in page
        assert "Publish plan 1</button>" in page

    def test_a_running_job_is_shown_and_asks_for_itself_until_it_ends(self, director, app, day, monkeypatch):
        monkeypatch.setattr("server.allocator.solve.plan_day", waiting_plan)
        director.post("/days/tern/plan/compute")
        page = director.get("/days/tern/plan").text
        assert 'hx-get="/days/tern/plan/job"' in page
        assert "Planning" in page
        running = director.get("/days/tern/plan/job")
        assert 'hx-trigger="every 500ms"' in running.text
        assert "HX-Retarget" not in running.headers
        second = director.post("/days/tern/plan/compute")
        assert second.status_code == 422
        assert "computed already" in second.text
        director.post("/days/tern/plan/job/cancel")
        job_ended(app, day)
        ended = director.get("/days/tern/plan/job")
        assert ended.headers["HX-Retarget"] == "#main"
        assert 'hx-trigger="every' not in ended.text
        assert "The draft is as it was." in ended.text

    def test_rules_in_conflict_are_named_with_their_cures(self, director, app, database):
        with database.write() as session:
            day = make_day(session, code="infe")
            make_pilot(session, day, "Otter", tunes="F4", together="Rook")
            make_pilot(session, day, "Rook", tunes="F4")
        director.post("/days/infe/plan/compute")
        job_ended(app, day)
        page = director.get("/days/infe/plan").text
        assert "No plan holds all rules" in page
        assert "Otter can use only 5800 MHz" in page
        assert "Otter and Rook can use only 5800 MHz, and they always fly in the same heat." in page
        assert "<li>Plan without Otter</li>" in page
        assert "more, at most" not in page
        with database.write() as session:
            pilots.aircraft_of(session, pilots.by_callsign_key(session, day.id, "rook").id)[0].tunes = "F"
        assert "No plan holds all rules" not in director.get("/days/infe/plan").text

    def test_rules_that_one_more_heat_would_cure_bring_its_button(self, director, app, database):
        with database.write() as session:
            day = make_day(session, code="crwd", aircraft=3)
            for one, other in (("Otter", "Rook"), ("Wren", "Teal"), ("Coot", "Quill")):
                make_pilot(session, day, one, together=other)
                make_pilot(session, day, other)
        director.post("/days/crwd/plan/compute")
        job_ended(app, day)
        page = director.get("/days/crwd/plan").text
        assert "At most 3 fly at once" in page
        assert "Plan one heat more, at most 2 at once</button>" in page

    def test_a_cure_is_carried_out_and_the_day_planned_again(self, director, app, database):
        with database.write() as session:
            day = make_day(session, code="cure", aircraft=2)
            make_pilot(session, day, "Otter", tunes="F4", together="Rook")
            make_pilot(session, day, "Rook", tunes="F4")
            make_pilot(session, day, "Wren")
        director.post("/days/cure/plan/compute")
        job = job_ended(app, day)
        remedies = [cure.kind for cure in job.result.plan.conflicts[0].remedies]
        press = {"job": str(job.number), "conflict": "1", "cure": str(remedies.index("together") + 1)}
        assert director.post("/days/cure/plan/cure", data=press).status_code == 303
        assert job_ended(app, day).number > job.number
        with database.read() as session:
            assert pilots.by_callsign_key(session, day.id, "otter").together == ""
        overtaken = director.post("/days/cure/plan/cure", data=press)
        assert overtaken.status_code == 409
        assert "the day was planned again meanwhile" in overtaken.text

    def test_a_cure_that_is_not_there_or_not_for_a_button_is_refused_in_words(self, director, app, database):
        with database.write() as session:
            day = make_day(session, code="mend")
            make_pilot(session, day, "Otter", tunes="F4", after_heat=9)
            make_pilot(session, day, "Rook", tunes="F4")
        director.post("/days/mend/plan/compute")
        number = str(job_ended(app, day).number)
        kinds = [cure.kind for cure in job_ended(app, day).result.plan.conflicts[0].remedies]
        for conflict, cure in (("1", "99"), ("9", "1"), ("1", "0")):
            press = {"job": number, "conflict": conflict, "cure": cure}
            refused = director.post("/days/mend/plan/cure", data=press)
            assert refused.status_code == 422
            assert "There is no such cure" in refused.text
        press = {"job": number, "conflict": "1", "cure": str(kinds.index("after") + 1)}
        refused = director.post("/days/mend/plan/cure", data=press)
        assert "Only people can do this: Have Otter there from the first heat." in refused.text

    def test_a_plan_that_nobody_should_fly_offers_one_more_heat(self, director, app, database):
        with database.write() as session:
            day = make_day(session, code="unfl", aircraft=4, settings_json='{"site": {"near_m": 2}}')
            for callsign in ("Wren", "Otter", "Rook", "Quill"):
                make_pilot(session, day, callsign, tunes="R1 R2 R3 R4", power_mw="600")
        director.post("/days/unfl/plan/compute")
        job_ended(app, day)
        page = director.get("/days/unfl/plan").text
        assert "Do not fly this" in page
        assert "Fly one more heat a round, at most 2 at once" in page
        assert hidden(page, "aircraft") == {"aircraft": "2", "was_aircraft": "4", "version": "3"}

    def test_a_level_of_power_is_chosen_and_given_back(self, director, app, database):
        with database.write() as session:
            day = make_day(session, code="powr")
            for callsign in ("Wren", "Otter"):
                make_pilot(session, day, callsign, power_mw="25 200")
        director.post("/days/powr/plan/compute")
        job_ended(app, day)
        page = director.get("/days/powr/plan").text
        assert "25 mW for everybody: it carries to 198 m, the course needs 80." in page
        assert hidden(page, "power") == {
            "common_power_mw": "200",
            "was_common_power_mw": "auto",
            "version": "3",
        }
        assert director.post("/days/powr/plan/power", data={"common_power_mw": "200"}).status_code == 303
        job_ended(app, day)
        page = director.get("/days/powr/plan").text
        assert "200 mW for everybody" in page
        assert "Let the planner choose</button>" in page
        refused = director.post("/days/powr/plan/power", data={"common_power_mw": "9"})
        assert refused.status_code == 422
        assert "“9” is no level of this day: choose 25, 200 or auto." in refused.text

    def test_a_size_that_cannot_be_says_why_and_has_no_button(self, director, app, database):
        with database.write() as session:
            day = make_day(session, code="whyn")
            for callsign in ("Wren", "Otter", "Rook", "Quill"):
                make_pilot(session, day, callsign, tunes="F4")
        director.post("/days/whyn/plan/compare")
        job_ended(app, day)
        page = director.get("/days/whyn/plan").text
        assert "Otter, Rook and Quill can use only 5800 MHz, and the day has two heats." in page
        assert "Plan with 3</button>" not in page

    def test_how_many_can_fly_is_a_table_from_which_a_row_is_picked(self, director, app, database, day):
        director.post("/days/tern/plan/compare")
        job_ended(app, day)
        page = director.get("/days/tern/plan").text
        assert "Plan with 3</button>" in page
        assert director.post("/days/tern/plan/aircraft", data={"aircraft": "3"}).status_code == 303
        job_ended(app, day)
        with database.read() as session:
            now = days.by_id(session, day.id)
            assert now.aircraft == 3
            assert len(standing(session, now).draft.snapshot["heats"]) == 1

    def test_a_number_of_aircraft_that_cannot_be_is_refused(self, director, day):
        assert director.post("/days/tern/plan/aircraft", data={"aircraft": "99"}).status_code == 422

    def test_heats_of_the_director_keep_their_pilots(self, director, app, database):
        with database.write() as session:
            day = day_with_pilots(session, "Wren", "Otter", "Rook", code="give")
        act(director, database, day, "put in", callsigns="Rook Wren", into="")
        assert "Keep heats, plan channels" in director.get("/days/give/plan").text
        director.post("/days/give/plan/compute", data={"keep_heats": "yes"})
        job_ended(app, day)
        with database.read() as session:
            now = standing(session, days.by_id(session, day.id))
            assert {slot["callsign"] for slot in now.draft.snapshot["heats"][0]["slots"]} == {"Rook", "Wren"}
            assert now.draft.faults.broken == ()
            assert now.left_out == ("Otter",)

    def test_a_plan_that_was_overtaken_can_be_taken_all_the_same(
        self, director, app, database, day, monkeypatch
    ):
        plan_day = solve.plan_day

        def interrupted(problem, keep_going):
            with database.write() as session:
                make_pilot(session, day, "Late One")
            return plan_day(problem, keep_going)

        monkeypatch.setattr("server.allocator.solve.plan_day", interrupted)
        director.post("/days/tern/plan/compute")
        job_ended(app, day)
        page = director.get("/days/tern/plan").text
        assert "Late One came in." in page
        assert "Keep the draft" in page
        assert director.post("/days/tern/plan/job/use", data=hidden(page, "job/use")).status_code == 303
        assert "Planned 3 pilots in 2 heats" in director.get("/days/tern/plan").text
        assert director.post("/days/tern/plan/job/use", data=hidden(page, "job/use")).status_code == 409

    def test_what_is_over_can_be_closed(self, director, app, day, monkeypatch):
        monkeypatch.setattr("server.allocator.solve.plan_day", waiting_plan)
        director.post("/days/tern/plan/compute")
        director.post("/days/tern/plan/job/cancel")
        job_ended(app, day)
        director.post("/days/tern/plan/job/close")
        assert "The draft is as it was." not in director.get("/days/tern/plan").text

    def test_nobody_to_plan_for_is_said_on_the_page(self, director, database):
        with database.write() as session:
            make_day(session, code="none")
        answer = director.post("/days/none/plan/compute")
        assert answer.status_code == 422
        assert "There is nobody to plan for" in answer.text
