"""What is said of the powers of a plan."""

from dataclasses import replace

import pytest

from server.allocator.plan import HotTransmitter, LevelTried
from server.radio.site import Site
from server.services.power_words import above_rules_words, level_words, power_warnings

LOW = LevelTried(25.0, True, 13.9, True, 197.8, 394.6, 1.0, True)
SITE = Site()


def loud(name, cost_db, **own):
    usual = {"sufferer": "Wren", "heat": 2, "margin_db": 1.2, "margin_at_common_db": 1.2 + cost_db}
    return HotTransmitter(name, 200.0, **{"is_set": False, **usual, **own})


def test_the_level_is_told_with_how_far_it_carries_and_what_the_course_needs():
    assert level_words([LOW], [], SITE) == ("25 mW for everybody: it carries to 198 m, the course needs 80.")
    mixed = replace(LOW, is_for_all=False)
    assert level_words([mixed], [], SITE) == (
        "Everybody sets the highest own step up to 25 mW; the weakest carries to 198 m, the course needs 80."
    )
    assert level_words([mixed], [loud("Otter", 1.0)], SITE) == (
        "Everybody sets the highest own step up to 25 mW, or the lowest where all are above; the weakest "
        "carries to 198 m, the course needs 80."
    )
    assert level_words([], [], SITE) == ""


def test_a_link_that_holds_and_no_loud_transmitter_need_no_words():
    assert power_warnings([LOW], [], SITE) == []
    assert power_warnings([], [loud("Otter", 9.0)], SITE) == []


def test_a_weak_link_is_told_with_the_level_that_would_do():
    weak = LevelTried(25.0, True, -3.04, False, 28.2, 56.4, 1.0, True)
    strong = LevelTried(200.0, True, 6.0, True, 80.0, 160.0, 0.5, False)
    begins = (
        "At 25 mW the weakest link keeps \N{MINUS SIGN}3.0 dB above the threshold, less than the 6 dB wanted: "
        "it carries to 28 m, the course needs 80. "
    )
    assert power_warnings([weak, strong], [], SITE) == [f"{begins}At 200 mW it would keep enough."]
    assert power_warnings([weak], [], SITE) == [
        f"{begins}No level keeps enough: fly nearer, or raise the power within the rules."
    ]


@pytest.mark.parametrize(
    ("hot", "words"),
    [
        (
            loud("Otter", 9.0),
            "Otter cannot go below 200 mW, above the common 25 mW: that costs the others 9.0 dB; Wren in heat 2 "
            "suffers most (+1.2 instead of +10.2 dB at worst).",
        ),
        (
            loud("Otter", 9.0, is_set=True, margin_db=-2.0, margin_at_common_db=0.04),
            "Otter is set to 200 mW, above the common 25 mW: that costs the others 2.0 dB; Wren in heat 2 suffers "
            "most (\N{MINUS SIGN}2.0 instead of +0.0 dB at worst).",
        ),
        (
            loud("Otter", 0.04),
            "Otter cannot go below 200 mW, above the common 25 mW: that costs the others nothing.",
        ),
        (
            loud("Otter", 9.0, sufferer=None),
            "Otter cannot go below 200 mW, above the common 25 mW: it shares no heat.",
        ),
    ],
)
def test_a_loud_transmitter_is_told_with_its_cost(hot, words):
    assert power_warnings([LOW], [hot], SITE) == [words]


def test_of_many_loud_ones_the_three_costliest_are_named():
    hot = [loud(f"P{number}", float(number)) for number in range(1, 6)]
    named = power_warnings([LOW], hot, SITE)
    assert [words.split()[0] for words in named] == ["P5", "P4", "P3", "2"]
    assert named[-1] == "2 more transmit above the common level, at no more cost than these."
    assert power_warnings([LOW], hot[1:], SITE)[-1].startswith("1 more transmits above")
    assert len(power_warnings([LOW], hot[2:], SITE)) == 3


def test_steps_above_the_rules_are_told_with_whose_they_are():
    assert above_rules_words({}, "these rules") == ""
    assert above_rules_words({"Wren": (200.0,)}, "these rules") == (
        "Above what these rules allows, so not tried: 200 mW (Wren)."
    )
    many = {f"P{number}": (600.0, 200.0) for number in range(5)}
    assert above_rules_words(many, "R").endswith("200 and 600 mW (P0, P1, P2 and 2 more).")
    assert above_rules_words({"Wren": (200.0,), "Otter": (400.0,)}, "R").endswith("(Wren and Otter).")
