import json

import pytest

from server.services import trouble, trouble_outcomes
from server.services.errors import InputError, OvertakenError, RefusedError
from server.services.trouble_case import StoredCase
from server.services.trouble_views import trouble_desk
from server.storage import logbook
from tests.factories import NOW
from tests.services.called_days import page, released, step
from tests.services.changed_days import published_day
from tests.services.test_trouble import report


@pytest.fixture
def day(session):
    """Wren 5658 and Otter 5695 fly heat 1; Rook 5658 and Quill 5695 of heat 2 wait."""
    day = published_day(session)
    released(session, day, 1)
    return day


@pytest.fixture
def row(session, day):
    return report(session, day, symptom="lines")


def enter(session, day, row, key, outcome):
    return trouble_outcomes.enter(session, day, row.id, str(row.version), key, outcome, NOW)


def chance_of(row, kind):
    return sum(one["chance"] for one in json.loads(row.causes_json) if one["kind"] == kind)


class TestEnter:
    def test_the_causes_are_ranked_again(self, session, day, row):
        before = chance_of(row, "pits")
        enter(session, day, row, "pits", "yes")
        assert chance_of(row, "pits") > before
        assert json.loads(row.causes_json)[0]["kind"] == "pits"

    def test_it_is_kept_with_who_and_when_and_stands_in_the_logbook(self, session, day, row):
        enter(session, day, row, "pits", "no")
        (kept,) = json.loads(row.outcomes_json)
        assert (kept["test"], kept["outcome"], kept["who"]) == ("pits", "no", "director")
        assert kept["at"] == NOW.isoformat()
        entry = logbook.newest_first(session, day.id, 1)[0]
        assert entry.action == "trouble outcome"
        assert entry.text.startswith("Trouble of Wren: Ask the pits aloud who is on, ")
        assert entry.text.endswith("Nobody, or no change.")

    def test_what_could_not_be_told_leaves_the_ranking_and_is_done_all_the_same(self, session, day, row):
        before = row.causes_json
        enter(session, day, row, "pits", "could not tell")
        assert row.causes_json == before
        (view,) = trouble_desk(session, day).reports
        assert "pits" not in [one["key"] for one in view.tests]

    def test_a_test_is_entered_once(self, session, day, row):
        enter(session, day, row, "pits", "no")
        with pytest.raises(RefusedError, match="This test was done"):
            enter(session, day, row, "pits", "yes")

    @pytest.mark.parametrize(("key", "outcome"), [("pits", "perhaps"), ("far Coot", "yes"), ("", "yes")])
    def test_what_no_button_sends_is_refused(self, session, day, row, key, outcome):
        with pytest.raises(InputError, match="use the buttons"):
            enter(session, day, row, key, outcome)

    def test_a_page_that_is_overtaken_enters_nothing(self, session, day, row):
        seen = str(row.version)
        enter(session, day, row, "pits", "no")
        with pytest.raises(OvertakenError):
            trouble_outcomes.enter(session, day, row.id, seen, "nearer", "yes", NOW)

    def test_the_pilots_page_forgets_a_test_that_was_done(self, session, day, row):
        trouble.answer(session, day, row.id, str(row.version), "pits", NOW)
        enter(session, day, row, "nearer", "no")
        assert page(session, day, "Wren").trouble.answer.startswith("Ask the pits")
        enter(session, day, row, "pits", "no")
        assert page(session, day, "Wren").trouble.answer == ""


class TestTakeBack:
    def test_the_last_outcome_goes_and_the_ranking_is_what_it_was(self, session, day, row):
        enter(session, day, row, "pits", "no")
        before = row.causes_json
        enter(session, day, row, "nearer", "yes")
        trouble_outcomes.take_back(session, day, row.id, str(row.version), NOW)
        assert row.causes_json == before
        assert [one["test"] for one in json.loads(row.outcomes_json)] == ["pits"]
        assert logbook.newest_first(session, day.id, 1)[0].action == "trouble outcome taken back"

    def test_without_an_outcome_there_is_nothing_to_take_back(self, session, day, row):
        with pytest.raises(RefusedError, match="No outcome"):
            trouble_outcomes.take_back(session, day, row.id, str(row.version), NOW)


class TestDesk:
    def test_the_next_test_stands_first_and_needs_who_is_in_the_air(self, session, day, row):
        (view,) = trouble_desk(session, day).reports
        assert {"pits", "far Otter"} <= {one["key"] for one in view.tests}
        step(session, day, "land")
        step(session, day, "all landed")
        (view,) = trouble_desk(session, day).reports
        assert {one["kind"] for one in view.tests} <= {"landed", "still on"}

    def test_it_is_sure_once_the_first_cause_is_likely_enough(self, session, day):
        row = report(session, day, symptom="another picture", onset="suddenly")
        enter(session, day, row, "pits", "yes")
        (view,) = trouble_desk(session, day).reports
        assert view.is_sure
        assert view.causes[0]["cure"].startswith("Whoever is on powers off")

    def test_a_report_older_than_tests_has_its_causes_and_no_test(self, session, day, row):
        row.case_json = ""
        session.flush()
        (view,) = trouble_desk(session, day).reports
        assert view.tests == []
        assert view.causes
        with pytest.raises(InputError):
            trouble.answer(session, day, row.id, view.seen, "pits", NOW)


class TestStoredCase:
    def test_what_is_read_says_what_was_stored(self, row):
        case = StoredCase.read(row.case_json)
        assert StoredCase.read(case.text()).text() == case.text()
        assert case.causes({}) == json.loads(row.causes_json)

    def test_every_test_has_words_a_question_and_a_press_for_each_outcome(self, row):
        case = StoredCase.read(row.case_json)
        for test in case.case.tests:
            facts = case.test(test.key)
            assert facts["do"].endswith(".")
            assert facts["question"].endswith("?")
            assert {outcome for outcome, _ in facts["presses"]} == set(test.outcomes)

    def test_no_test_powers_anything_off_in_the_air(self, row):
        case = StoredCase.read(row.case_json)
        for test in case.case.tests:
            before_off, off, _ = case.test(test.key)["do"].partition("powers off")
            assert not off or "lands" in before_off or test.kind == "pits"
