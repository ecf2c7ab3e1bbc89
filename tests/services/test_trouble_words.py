"""Every kind of cause has a title and a cure, whatever the heat."""

import pytest

from server.allocator.advice import Seat
from server.allocator.problem import DayProblem, Pilot
from server.allocator.trouble import Cause
from server.allocator.trouble_air import Air, Flier
from server.services.trouble_words import best_change, cause_facts

RACE_MHZ = (5658, 5695, 5732, 5769)


def air_of(*placed, steps=(25.0,)):
    fliers = tuple(
        Flier(Seat(Pilot(name, RACE_MHZ, power_steps_mw=steps), mhz, 25.0)) for name, mhz in placed
    )
    return Air(DayProblem(()), fliers)


TWO = air_of(("Wren", 5658), ("Otter", 5695))


def facts(kind, *who, mhz=None, air=TWO):
    return cause_facts(Cause(kind, who, mhz, -12.351, 0.25), air, "Wren", lambda: best_change(air, "Wren"))


@pytest.mark.parametrize(
    ("kind", "who", "mhz", "title"),
    [
        ("carrier", ("Otter",), 5695, "Otter's carrier, 37 MHz above, louder than planned"),
        ("product", ("Otter", "Rook"), None, "Products of Otter and Rook in Wren's receiver"),
        ("wrong channel", ("Otter",), 5685, "Otter is on E2 5685, not R2 5695"),
        (
            "pits",
            ("Coot", "Rook", "Quill", "Umber"),
            5658,
            "Somebody is on in the pits: Coot, Rook or Quill first",
        ),
        ("down", ("Rook",), 5732, "Rook's lost transmitter on 5732 MHz"),
        ("own channel", ("Wren",), 5665, "Wren is on E3 5665, not R1 5658"),
        ("link", ("Wren",), None, "Wren's own signal is too weak"),
        (
            "outside",
            ("the outside signal at 5658 MHz",),
            5658,
            "Something that nobody has noted, on 5658 MHz",
        ),
    ],
)
def test_each_kind_is_named_and_comes_with_a_cure(kind, who, mhz, title):
    told = facts(kind, *who, mhz=mhz)
    assert told["title"] == title
    assert told["cure"].endswith(".")
    assert told["cure"][0].isupper()
    assert (told["chance"], told["margin_db"]) == (0.25, -12.35)


def test_a_carrier_on_the_same_channel_or_below_is_told_so():
    below = air_of(("Wren", 5732), ("Otter", 5695))
    assert facts("carrier", "Otter", mhz=5695, air=below)["title"].startswith("Otter's carrier, 37 MHz below")
    assert "on the same channel" in facts("carrier", "Otter", mhz=5658)["title"]


def test_a_weak_signal_is_cured_by_the_next_step_where_there_is_one():
    higher = air_of(("Wren", 5658), steps=(25.0, 100.0, 200.0))
    assert facts("link", "Wren", air=higher)["cure"].endswith(
        "Wren sets 100 mW after landing, or flies nearer."
    )
    assert facts("link", "Wren")["cure"].endswith("Wren has no step above 25 mW and flies nearer.")


def test_a_pilot_alone_is_told_to_plan_again_where_nothing_single_helps():
    alone = air_of(("Wren", 5658))
    assert facts("down", "Rook", mhz=5732, air=alone)["cure"] == (
        "No single move, power or pilot fewer betters this slot: plan again."
    )
