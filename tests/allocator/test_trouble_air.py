"""The air around a report: what is taken for granted where nothing is said, and who flies where."""

import pytest

from server.allocator.advice import Seat
from server.allocator.problem import DayProblem, Pilot
from server.allocator.trouble_air import Air, Flier, OnGround


def flier(name):
    return Flier(Seat(Pilot(name, (5695,)), 5695, 25.0))


def test_nothing_is_taken_as_seen_or_on_unless_it_was_told():
    ground = OnGround(Pilot("Quill", (5695,)), None, 25.0)
    assert not flier("Wren").is_confirmed
    assert (ground.is_next, ground.is_on) == (False, False)


def test_whoever_flies_has_a_place_and_nobody_else():
    air = Air(DayProblem(()), (flier("Wren"), flier("Otter")))
    assert (air.place("Wren"), air.place("Otter")) == (0, 1)
    assert (air.ground, air.down) == ((), ())
    with pytest.raises(ValueError, match="Quill"):
        air.place("Quill")
