"""What a page says would help is what a measurement of that change says."""

from dataclasses import replace
from types import MappingProxyType

import pytest

from server.allocator.problem import DayProblem, Pilot
from server.allocator.scoring import station
from server.radio.interference import heat_margins
from server.services.advice_words import ALONE, NOTHING, heat_advice
from server.services.cause_words import MINUS
from server.services.drafts import DraftHeat, DraftSlot
from server.services.plan_basis import PlanBasis

LABELS = MappingProxyType({5917: "R8"})


def basis_of(*pilots):
    return PlanBasis(DayProblem(pilots), dict(enumerate(pilots, start=1)))


def heat_of(*placed):
    return DraftHeat(1, tuple(DraftSlot(number, *at) for number, at in enumerate(placed, start=1)))


@pytest.fixture
def advice():
    """Wren, with Otter 30 MHz above, who can go to R8, and Rook, who is hot and could turn down."""
    pilots = (
        Pilot("Wren", (5658,)),
        Pilot("Otter", (5688, 5917), labels=LABELS),
        Pilot("Rook", (5800,), (25.0, 600.0)),
    )
    return heat_advice(heat_of((5658, 25.0), (5688, 25.0), (5800, 600.0)), basis_of(*pilots))


def margins(*placed):
    return heat_margins(
        [station(Pilot(name, (mhz,)), mhz, mw) for name, mhz, mw in placed], DayProblem(()).site
    )


def change(advice, place, kind):
    return next(one for one in advice[place]["kinds"] if one["kind"] == kind)


def test_a_move_says_what_it_brings(advice):
    moved = margins(("Wren", 5658, 25), ("Otter", 5917, 25), ("Rook", 5800, 600))
    told = change(advice, 0, "move")
    assert told["title"] == "Move one pilot"
    assert told["change"] == {
        "pilot_id": 2,
        "callsign": "Otter",
        "channel": "R8",
        "mhz": 5917,
        "power_mw": None,
        "margin_db": round(moved.slots[0].margin_db, 2),
        "worst_margin_db": round(moved.worst_margin_db, 2),
    }
    own, worst = f"{moved.slots[0].margin_db:+.1f}", f"{moved.worst_margin_db:+.1f}"
    assert told["words"].startswith(f"Otter to R8 5917: this slot {own.replace('-', MINUS)} dB, ")
    assert f"; the heat's worst {worst.replace('-', MINUS)} dB, " in told["words"]


def test_a_lower_power_says_what_it_brings(advice):
    lower = margins(("Wren", 5658, 25), ("Otter", 5688, 25), ("Rook", 5800, 25))
    told = change(advice, 1, "power")
    assert (told["change"]["callsign"], told["change"]["power_mw"]) == ("Rook", 25.0)
    assert told["change"]["margin_db"] == round(lower.slots[1].margin_db, 2)
    assert told["words"].startswith("Rook to 25 mW: this slot ")


def test_one_fewer_says_what_it_brings(advice):
    fewer = margins(("Wren", 5658, 25), ("Rook", 5800, 600))
    told = change(advice, 0, "fewer")
    assert told["words"].startswith("Without Otter: this slot ")
    assert told["change"]["margin_db"] == round(fewer.slots[0].margin_db, 2)


def test_what_does_not_help_is_said_too(advice):
    told = change(advice, 2, "power")
    assert (told["change"], told["words"]) == (None, NOTHING["power"])


def test_the_ceiling_is_told_beside_the_advice(advice):
    # 28 dB less 20 dB of distance, against 625 mW.
    assert advice[0]["ceiling_db"] == pytest.approx(28 - 20 - 13.98, abs=0.01)
    assert not advice[0]["is_ceiling"]
    assert advice[0]["words"] == (
        f"No choice of channels can give this slot more than {MINUS}6.0 dB with 3 up at these powers."
    )


def test_a_ceiling_that_binds_is_named_as_the_cause():
    far = [Pilot(name, (mhz, mhz + 1)) for name, mhz in (("Wren", 5658), ("Otter", 5780), ("Rook", 5910))]
    advice = heat_advice(heat_of((5658, 25.0), (5780, 25.0), (5910, 25.0)), basis_of(*far))
    assert advice[0]["is_ceiling"]
    most = "no choice of channels gives this slot more than +5.0 dB with 3 up at these powers."
    assert advice[0]["words"] == f"The site ceiling binds: {most}"
    assert change(advice, 0, "move")["words"] == NOTHING["move"]


def test_the_last_of_two_is_left_alone():
    pair = [Pilot("Wren", (5658,)), Pilot("Otter", (5688,))]
    told = change(heat_advice(heat_of((5658, 25.0), (5688, 25.0)), basis_of(*pair)), 0, "fewer")
    assert told["words"] == "Without Otter: this slot alone, 5.0 clean; the heat's worst alone, 5.0 clean."
    assert told["change"]["margin_db"] is None


def test_a_pilot_alone_needs_nothing():
    (advice,) = heat_advice(heat_of((5658, 25.0)), basis_of(Pilot("Wren", (5658,))))
    assert advice == {"ceiling_db": None, "is_ceiling": False, "words": ALONE, "kinds": []}


def test_a_heat_is_worked_out_once_wherever_its_pilots_are_set():
    heat, pilots = heat_of((5658, 25.0), (5695, 25.0)), [Pilot("Wren", (5658, 5732)), Pilot("Otter", (5695,))]
    published = [replace(pilots[0], current_mhz=5658), pilots[1], Pilot("Rook", (5800,))]
    assert heat_advice(heat, basis_of(*pilots)) is heat_advice(heat, basis_of(*published))
