"""Rules chosen by name, or of one's own."""

import pytest

from server.radio.rules import RULE_SETS, RuleRange
from server.services.faults import FieldsError
from server.services.rule_choices import read_rules


def faults(**facts):
    with pytest.raises(FieldsError) as caught:
        read_rules(facts)
    return {fault.field: f"{fault.problem}: {fault.cure}" for fault in caught.value.field_faults}


def test_a_name_alone_is_a_built_in_set():
    assert read_rules({"name": "EU-short-range"}) is RULE_SETS["eu-short-range"]


def test_ranges_are_rules_of_ones_own():
    own = read_rules(
        {
            "name": "Field permit",
            "ranges": [[5650, 5800, 100], [5810, 5925]],
            "tested_width": "necessary",
            "most_transmitters": 4,
            "licence_needed": True,
            "conditions": "Mornings only.",
            "source": "Letter of the council",
            "year": 2026,
        }
    )
    assert own.ranges == (RuleRange(5650, 5800, 100), RuleRange(5810, 5925))
    assert (own.key, own.name, own.tag, own.year) == ("own", "Field permit", "own", 2026)
    assert (own.tested_width, own.most_transmitters, own.licence_needed) == ("necessary", 4, True)


def test_ranges_alone_say_that_they_are_the_organisers():
    own = read_rules({"ranges": [[5650, 5925]]})
    assert (own.name, own.source, own.licence_needed) == ("own rules", "the organiser", False)


@pytest.mark.parametrize(
    ("facts", "field", "words"),
    [
        ({}, "rules", "neither a name nor ranges"),
        ({"conditions": "x"}, "rules", "neither a name nor ranges"),
        ({"name": "Atlantis"}, "rules.name", "write one of eu-short-range"),
        ({"name": 5}, "rules.name", "write text in quotes"),
        ({"name": "x", "ranges": 5}, "rules.ranges", "write [[5725, 5875, 25]]"),
        ({"ranges": []}, "rules.ranges", "give at least one"),
        ({"ranges": [[5875, 5725]]}, "rules.ranges", "lower edge first"),
        ({"ranges": [[5725, float("nan")]]}, "rules.ranges", "give MHz from"),
        ({"ranges": [[5725, 5875, -25]]}, "rules.ranges", "give mW above 0"),
        ({"ranges": [[5725, 5875]], "year": True}, "rules.year", "write a whole number"),
        ({"ranges": [[5725, 5875]], "licence_needed": 1}, "rules.licence_needed", "write true or false"),
        (
            {"ranges": [[5725, 5875]], "most_transmitters": "3"},
            "rules.most_transmitters",
            "write a whole number",
        ),
        ({"ranges": [[5725, 5875]], "tag": "S"}, "rules.tag", "rules have no part tag"),
        ({"range": [[5725, 5875]]}, "rules.range", "write ranges"),
    ],
)
def test_refuses_what_is_no_rule(facts, field, words):
    assert words in faults(**facts)[field]
