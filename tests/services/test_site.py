"""Site & rules: what typed text chooses, what is stored, what the logbook tells."""

import pytest

from server.radio.rules import RULE_SETS
from server.services import days, site
from server.services.days import rule_set_of, settings_of, site_of
from server.services.errors import InputError
from server.services.site_fields import LABELS, fields_of, read_fields
from server.services.stale_forms import Form, StaleFormError
from server.storage import logbook
from tests.factories import NOW, make_day


@pytest.fixture
def day(session):
    return make_day(session)


def save(session, day, **typed):
    before = fields_of(day)
    return site.save(session, day, Form({**before, **typed}, before, day.version), NOW)


def faults_of(day, **typed):
    with pytest.raises(InputError) as refused:
        read_fields(day, {**fields_of(day), **typed})
    return refused.value.faults


def test_the_fields_of_a_day_choose_what_the_day_has(day):
    choices = read_fields(day, fields_of(day))
    assert choices.settings == settings_of(day)
    assert (choices.aircraft, choices.rounds, choices.heat_minutes) == (6, 1, 5)
    assert set(fields_of(day)) == set(LABELS)


def test_saving_what_stands_there_changes_nothing(session, day):
    save(session, day)
    version = day.version
    assert save(session, day) == []
    assert day.version == version
    assert logbook.newest_first(session, day.id, 9) == []


def test_a_change_is_stored_and_told_in_one_sentence(session, day):
    told = save(session, day, near_m="10", rounds="3", bans="R3 5800", allowed_bands="R F")
    assert (site_of(day).near_m, day.rounds) == (10, 3)
    assert settings_of(day).bans == (5732, 5800)
    assert told == [
        "Changed near from 8 to 10 m; rounds from 1 to 3; bands in use from A B E F R to F R; "
        "out of use today from none to 5732 5800 MHz."
    ]
    assert logbook.newest_first(session, day.id, 1)[0].text == told[0]


def test_a_decimal_comma_and_a_typographic_minus_are_numbers(day):
    choices = read_fields(day, {**fields_of(day), "near_m": "7,5", "iip3_dbm": "\N{MINUS SIGN}15"})
    assert choices.settings.site.near_m == 7.5
    assert choices.settings.site.receiver.iip3_dbm == -15


@pytest.mark.parametrize("text", ["NaN", "inf", "-8", "1e400", "9" * 400, "eight", "", "0", "8 8", "٨"])
def test_what_is_no_distance_is_told_with_its_range(day, text):
    faults = faults_of(day, near_m=text)
    assert list(faults) == ["near_m"]
    assert faults["near_m"].endswith("give a number from 0.5 to 1000 m.")


def test_distances_the_wrong_way_round_are_told_under_far(day):
    faults = faults_of(day, near_m="80", far_m="8")
    assert faults == {
        "far_m": "Far (8 m) is less than near (80 m): give at least 80 m, or a smaller near distance."
    }


@pytest.mark.parametrize(
    ("field", "text", "words"),
    [
        ("aircraft", "0", "a whole number from 1 to 12"),
        ("aircraft", "6.5", "a whole number from 1 to 12"),
        ("rounds", "9" * 30, "a whole number from 1 to 50"),
        ("heat_minutes", "", "This is empty"),
        ("minimum_spacing_mhz", "-20", "a whole number from 0 to 200 MHz"),
        ("common_power_mw", "lots", "mW, or write auto"),
        ("common_power_mw", "1e9", "mW, or write auto"),
        ("day_channels", "R1 Q9", "Q9"),
        ("bans", "R9", "R9"),
        ("allowed_bands", "A Z", "one or more of A B E F R L"),
        ("allowed_bands", "", "one or more of A B E F R L"),
        ("reference_mhz", "5.8", "1000 to 10000 MHz"),
        ("rules", "atlantis", "There is no rule set “atlantis”: choose one of the list."),
        ("responsibility", "w" * 1001, "1001 characters are too many"),
        ("responsibility", "I do\u202e", "cannot be seen"),
        ("base_url", "ftp://192.168.8.2", "is not an address for phones"),
        ("base_url", "http://192.168.8.2:99999", "is not an address for phones"),
        ("base_url", "javascript:alert(1)", "is not an address for phones"),
        ("base_url", "http://192.168.8.2/board", "says more than an address"),
    ],
)
def test_a_field_that_cannot_be_used_says_what_would_be_right(day, field, text, words):
    faults = faults_of(day, **{field: text})
    assert list(faults) == [field]
    assert words in faults[field]


def test_faults_of_all_fields_come_at_once_and_nothing_is_stored(session, day):
    stored = fields_of(day)
    with pytest.raises(InputError) as refused:
        save(session, day, near_m="x", rounds="y", aircraft="5")
    assert set(refused.value.faults) == {"near_m", "rounds"}
    assert fields_of(day) == stored


def test_chosen_rules_are_copied_onto_the_day(session, day):
    told = save(session, day, rules="eu-short-range")
    assert rule_set_of(day) == RULE_SETS["eu-short-range"]
    assert "5725-5875 MHz" in told[0]
    assert "from memory, not confirmed by reading" in told[0]
    assert "legal" not in told[0].lower()


def test_a_stored_copy_outlives_a_change_of_the_rules_that_come_with_bandstand(session, day, monkeypatch):
    save(session, day, rules="eu-short-range")
    copy = rule_set_of(day)
    monkeypatch.setattr("server.services.site_fields.RULE_SETS", {})
    save(session, day, rounds="2")
    assert rule_set_of(day) == copy


def test_ranges_of_ones_own_are_rules_with_a_source(session, day):
    typed = {
        "rules": "own",
        "own_ranges": "5650-5850\n5725\N{EN DASH}5875 25 mW",
        "own_source": "Permit of 3 May",
    }
    save(session, day, **typed)
    rules = rule_set_of(day)
    assert [(one.low_mhz, one.high_mhz, one.max_eirp_mw) for one in rules.ranges] == [
        (5650, 5850, None),
        (5725, 5875, 25),
    ]
    assert (rules.source, rules.year, rules.tag, rules.licence_needed) == (
        "Permit of 3 May",
        2026,
        "own",
        True,
    )


def test_ranges_of_ones_own_are_kept_while_other_rules_are_chosen(session, day):
    save(session, day, rules="own", own_ranges="5650-5850", own_source="Permit of 3 May")
    save(session, day, rules="eu-short-range")
    assert fields_of(day)["own_ranges"] == "5650-5850"


@pytest.mark.parametrize(
    ("ranges", "words"),
    [
        ("", "give at least one range"),
        ("5850-5650", "runs backwards"),
        ("5650-5650", "runs backwards or is empty"),
        ("nan-5850", "“nan-5850” is not a range"),
        ("5650-5850\nall of it", "“all of it” is not a range"),
        ("5650-99999999", "An edge of a range cannot be 99999999:"),
        ("5650-5850 0", "e.i.r.p. cannot be 0"),
        ("5.6.5-5850", "is not a range"),
        ("5650-5850\n" * 31, "31 ranges are too many"),
    ],
)
def test_ranges_that_cannot_be_used_are_told(day, ranges, words):
    faults = faults_of(day, rules="own", own_ranges=ranges, own_source="Permit")
    assert list(faults) == ["own_ranges"]
    assert words in faults["own_ranges"]


def test_own_ranges_need_a_source(day):
    assert "say who allows" in faults_of(day, rules="own", own_ranges="5650-5850")["own_source"]


def test_responsibility_enters_the_logbook_word_for_word(session, day):
    words = "I hold the permit of 3 May."
    assert save(session, day, responsibility=words) == [f"Took responsibility in words: “{words}”"]
    assert days.can_publish(day) is None
    assert save(session, day, responsibility="") == ["Took back the responsibility given in words."]
    assert days.can_publish(day) is not None


def test_a_changed_address_voids_what_was_printed_with_the_former_one(session, day):
    save(session, day, base_url="http://192.168.8.2:8000")
    told = save(session, day, base_url="10.0.0.7:8000")
    assert told == [
        "Chose http://10.0.0.7:8000 as the address for phones. "
        "What was printed with http://192.168.8.2:8000 is void."
    ]
    former = settings_of(day).former_addresses
    assert [(one.base_url, one.until) for one in former] == [("http://192.168.8.2:8000", NOW)]


def test_an_address_chosen_again_is_void_no_longer(session, day):
    for url in ("http://192.168.8.2:8000", "http://10.0.0.7:8000", "http://192.168.8.2:8000"):
        save(session, day, base_url=url)
    assert [one.base_url for one in settings_of(day).former_addresses] == ["http://10.0.0.7:8000"]


def test_an_overtaken_form_brings_both_versions_and_changes_nothing(session, day):
    shown = fields_of(day)
    version = day.version
    save(session, day, near_m="10")
    with pytest.raises(StaleFormError) as refused:
        site.save(session, day, Form({**shown, "far_m": "90"}, shown, version), NOW)
    assert refused.value.theirs == {"near_m": "10"}
    assert (refused.value.merged["near_m"], refused.value.merged["far_m"]) == ("10", "90")
    assert site_of(day).far_m == 80
