"""A conflict as one plain sentence."""

import pytest

from server.allocator.conflict_words import sentence
from server.allocator.day_rules import all_rules
from server.allocator.problem import DayProblem, Pilot

ALL = (5658, 5732, 5806, 5880)
NAMES = ("Wren", "Rook", "Coot", "Otter", "Sorrel", "Magpie")


def said(kinds, *own, **wishes):
    """What is said of all rules of some kinds; pilots are named in turn."""
    pilots = tuple(Pilot(name, **{"channels_mhz": ALL, **one}) for name, one in zip(NAMES, own, strict=False))
    day = DayProblem(pilots, **wishes)
    return sentence(day, [rule for rule in all_rules(day) if rule.kind in kinds])


@pytest.mark.parametrize(
    ("channels", "words"),
    [
        ((), "Wren can use no channel of this day."),
        ((5800,), "Wren can use only 5800 MHz."),
        ((5900, 5700, 5800), "Wren can use only 5700 or 5800 or 5900 MHz."),
        (ALL, "Wren can use only 4 channels, 5658 to 5880 MHz."),
    ],
)
def test_channels_are_listed_up_to_three(channels, words):
    assert said({"tunes"}, {"channels_mhz": channels}) == words


def test_pilots_of_whom_the_same_is_said_are_named_at_once():
    one, other = {"channels_mhz": (5700,)}, {"channels_mhz": (5800,)}
    assert said({"tunes"}, one, one) == "Wren and Rook can use only 5700 MHz."
    assert said({"tunes"}, one, one, one) == "Wren, Rook and Coot can use only 5700 MHz."
    assert said({"tunes"}, one, one, one, one) == "Four pilots can use only 5700 MHz."
    assert said({"tunes"}, one, other, one) == (
        "Wren and Coot can use only 5700 MHz, and Rook can use only 5800 MHz."
    )


def test_three_kinds_of_gear_are_told_as_one():
    gear = [{"channels_mhz": (mhz,)} for mhz in (5700, 5710, 5730)]
    assert said({"tunes"}, *gear) == "Wren, Rook and Coot can use only 5700 or 5710 or 5730 MHz."
    pins = [{"pin_mhz": (mhz,)} for mhz in (5658, 5732, 5806)]
    assert said({"pin"}, *pins) == (
        "Wren is pinned to 5658 MHz, Rook is pinned to 5732 MHz, and Coot is pinned to 5806 MHz."
    )


def test_who_was_named_last_is_not_named_again():
    pair = {"channels_mhz": (5800,), "together": frozenset(NAMES[:2])}
    assert said({"tunes", "together"}, pair, pair) == (
        "Wren and Rook can use only 5800 MHz, and they always fly in the same heat."
    )
    assert said({"tunes", "pin"}, {"channels_mhz": (5700,), "pin_mhz": (5800,)}) == (
        "Wren can use only 5700 MHz, and is pinned to 5800 MHz."
    )


def test_those_who_hang_together_are_named_at_once():
    wishes = [{"together": frozenset({other})} for other in ("Rook", "Coot", "Coot", "Sorrel", "Otter")]
    assert said({"together"}, *wishes) == (
        "Wren, Rook and Coot always fly in the same heat, and Otter and Sorrel always fly in the same heat."
    )


def test_those_of_whom_no_two_may_meet_are_named_at_once_others_by_pairs():
    everybody = {"apart": frozenset(NAMES[:3])}
    assert said({"apart"}, everybody, everybody, everybody) == "Wren, Rook and Coot never share a heat."
    assert said({"apart"}, {"apart": frozenset(NAMES[1:3])}, {}, {}) == (
        "Wren and Rook never share a heat, and Wren and Coot never share a heat."
    )
    assert said({"apart"}, {"spotter": "Rook"}, {}) == "Rook spots for Wren."
    assert said({"apart"}, {}, {"spotter": "Wren"}) == "Wren spots for Rook."


def test_presence_and_set_heats_are_told_with_their_numbers():
    day = {"aircraft": 1, "rounds": 2}
    assert said({"after"}, {"after": 3}, {}, **day) == "Wren is there only after heat 3."
    assert said({"after"}, {"after": 2}, {"after": 2}, **day) == "Wren and Rook are there only after heat 2."
    assert said({"before"}, {"before": 2}, {}, **day) == "Wren is there only before heat 2."
    assert said({"before"}, {"before": 2}, {"before": 2}, **day) == (
        "Wren and Rook are there only before heat 2."
    )
    assert said({"heat"}, {"heat": 2}, {"heat": 2}, **day) == "Wren and Rook are set for heat 2."
    assert said({"heat"}, {"heat": 1}, {"heat": 2}, **day) == (
        "Wren is set for heat 1, and Rook is set for heat 2."
    )
    assert (
        said({"pin"}, {"pin_mhz": (5658,)}, {"pin_mhz": (5658,)}) == "Wren and Rook are pinned to 5658 MHz."
    )


@pytest.mark.parametrize(
    ("wishes", "words"),
    [
        ({"aircraft": 6}, "The day has one heat."),
        ({"aircraft": 2}, "The day has three heats."),
        ({"aircraft": 2, "rounds": 2}, "A round has three heats."),
        ({"aircraft": 6, "rounds": 2}, "A round has one heat."),
        ({"one_heat": True, "rounds": 2}, "Everybody flies in one heat."),
    ],
)
def test_heats_are_those_of_a_round_where_there_are_several(wishes, words):
    assert said({"heats"}, *[{}] * 6, **wishes) == words


def test_heats_are_those_of_the_day_where_somebody_comes_late_or_leaves_early():
    late = said({"after", "heats"}, {"after": 4}, {}, aircraft=1, rounds=2)
    assert late == "Wren is there only after heat 4, and the day has four heats."
    early = said({"before", "heats"}, {"before": 2}, {}, aircraft=2, rounds=2)
    assert early == "Wren is there only before heat 2, and the day has two heats."


@pytest.mark.parametrize(
    ("aircraft", "words"),
    [(1, "One flies at a time."), (2, "At most two fly at once."), (12, "At most twelve fly at once.")],
)
def test_how_many_fly_at_once_is_told_in_words(aircraft, words):
    assert said({"capacity"}, {}, aircraft=aircraft) == words


def test_numbers_above_twelve_are_figures():
    assert said({"heats"}, *[{}] * 5, aircraft=1, rounds=1) == "The day has five heats."
    thirteen = tuple(Pilot(f"P{number}", (5800,)) for number in range(13))
    day = DayProblem(thirteen, aircraft=1)
    heats = [rule for rule in all_rules(day) if rule.kind == "heats"]
    assert sentence(day, heats) == "The day has 13 heats."


def test_spacing_is_told_where_two_channels_are_too_near_only():
    kinds = {"tunes", "spacing"}
    near = ({"channels_mhz": (5700,)}, {"channels_mhz": (5719,)})
    assert said(kinds, *near) == (
        "Wren can use only 5700 MHz, Rook can use only 5719 MHz, and two pilots of a heat need 20 MHz "
        "between them."
    )
    far = ({"channels_mhz": (5700,)}, {"channels_mhz": (5720,)})
    assert "between them" not in said(kinds, *far)
    assert "between them" in said(kinds, *far, minimum_spacing_mhz=21)
    pinned = ({"pin_mhz": (5700,)}, {"pin_mhz": (5710,)})
    assert "between them" in said({"pin", "spacing"}, *pinned)


def test_bans_given_heats_and_one_channel_all_day():
    wren = {"channels_mhz": (5700, 5800)}
    assert said({"ban"}, wren, bans_mhz=(5700,)) == "5700 MHz is out of use today."
    assert said({"ban"}, wren, bans_mhz=(5800, 5700)) == "5700 and 5800 MHz are out of use today."
    heats = (("Wren",), ("Rook", "Wren"))
    assert said({"given", "channel"}, {}, {}, heats_given=heats) == (
        "Wren flies in heat 1, Wren and Rook fly together in heat 2, and everybody keeps one channel all day."
    )
