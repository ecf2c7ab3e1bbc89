"""When the day changes: rows for small days whose answer can be foreseen, and random days that must stay sound."""

import math
from dataclasses import replace
from itertools import pairwise

import pytest

from server.allocator import changes
from server.allocator.changes import Joins, Move, trade_offs
from server.allocator.checks import broken_rules
from server.allocator.errors import Cancelled
from server.allocator.plan import DayPlan, Slot
from server.allocator.problem import DayProblem, Pilot
from server.allocator.rest import Down, RestOfDay
from server.allocator.solve import plan_day
from server.radio.interference import Station, heat_margins
from tests.allocator.days import random_day
from tests.allocator.test_rest import OTTER, QUILL, ROOK, TWO_ROUNDS, WREN, heat, pilot, rest_of

RACE = (5658, 5695, 5732, 5769, 5806, 5843, 5880, 5917)


def seats(row):
    return [(one.number, [(slot.callsign, slot.mhz) for slot in one.slots]) for one in row.heats]


def as_published(plan, problem):
    """The day with everybody set to the channel of a plan."""
    mhz = {slot.callsign: slot.mhz for one in plan.heats for slot in one.slots}
    return tuple(replace(one, current_mhz=mhz.get(one.callsign)) for one in problem.pilots)


class TestLateArrival:
    def test_a_newcomer_joins_each_round_and_nobody_moves(self):
        row = trade_offs(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late"))).rows[0]
        assert row.moved == 0
        assert row.moves == ()
        assert [len(one.slots) for one in row.heats].count(3) == 2
        (joins,) = row.joins
        assert joins.callsign == "Late"
        assert len(joins.heats) == 2
        assert {slot.mhz for one in row.heats for slot in one.slots if slot.callsign == "Late"} == {joins.mhz}
        assert row.extra_heats == ()

    def test_the_smaller_heat_is_preferred_where_the_day_is_no_worse(self):
        heats = (heat(1, 1, WREN, OTTER, ROOK), heat(2, 1, pilot("Teasel", 5658), pilot("Umber", 5917)))
        crew = (WREN, OTTER, ROOK, pilot("Teasel", 5658), pilot("Umber", 5917), pilot("Late"))
        row = trade_offs(rest_of(*crew, heats=heats, rounds=1, aircraft=4)).rows[0]
        assert row.joins == (Joins("Late", row.joins[0].mhz, (2,)),)

    def test_a_newcomer_rests_between_flights_where_that_costs_nothing(self):
        row = trade_offs(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late"))).rows[0]
        first, second = row.joins[0].heats
        assert second - first > 1

    def test_a_newcomer_who_has_not_flown_needs_no_rest_before_the_first_heat(self):
        crew = [pilot(f"P{number}", 5658) for number in range(5)]
        heats = [heat(number, 1, one) for number, one in enumerate(crew, start=1)]
        row = trade_offs(rest_of(*crew, pilot("Late"), heats=tuple(heats), rounds=1)).rows[0]
        assert row.joins == (Joins("Late", row.joins[0].mhz, (1,)),)

    def test_in_a_full_day_a_newcomer_gets_heats_and_disturbs_nobody(self):
        row = trade_offs(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late"), aircraft=2)).rows[0]
        assert row.extra_heats == (3, 6)
        assert row.joins[0].heats == (3, 6)
        assert row.heats[2].slots == (Slot("Late", row.joins[0].mhz, 25.0),)
        assert row.heats[2].worst_margin_db is None
        assert [one.round for one in row.heats] == [1, 1, 1, 2, 2, 2]

    def test_a_provisional_channel_is_kept_in_the_first_row(self):
        row = trade_offs(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late", 5806))).rows[0]
        assert row.joins[0].mhz == 5806
        assert row.moved == 0

    def test_a_provisional_channel_that_fits_nowhere_is_one_move(self):
        fixed = [replace(one, channels_mhz=(one.current_mhz,)) for one in (WREN, OTTER, ROOK, QUILL)]
        late = pilot("Late", 5676, channels_mhz=(5676, *RACE))
        row = trade_offs(rest_of(*fixed, late, heats=(heat(1, 1, *fixed),), rounds=1, aircraft=5)).rows[0]
        assert row.moved == 1
        assert row.moves == (Move("Late", 5676, 5880),)

    def test_two_newcomers_take_the_last_two_seats(self):
        row = trade_offs(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late"), pilot("Later"))).rows[0]
        assert [len(one.slots) for one in row.heats] == [3, 3, 3, 3]

    def test_two_newcomers_who_must_not_meet_do_not(self):
        later = pilot("Later", apart=frozenset({"Late"}))
        row = trade_offs(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late"), later, aircraft=4)).rows[0]
        for one in row.heats:
            assert not {"Late", "Later"} <= {slot.callsign for slot in one.slots}

    def test_a_begun_round_without_room_is_missed_and_named(self):
        found = trade_offs(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late"), aircraft=2, first_open=2))
        assert found.missed == (("Late", 1),)
        assert found.rows[0].joins[0].heats == (5,)

    def test_without_channels_in_the_heats_of_the_plan_a_newcomer_flies_apart(self):
        fixed = [replace(one, channels_mhz=(one.current_mhz,)) for one in (WREN, OTTER)]
        late = pilot("Late", channels_mhz=(5658,))
        row = trade_offs(rest_of(*fixed, late, heats=(heat(1, 1, *fixed),), rounds=1)).rows[0]
        assert seats(row) == [(1, [("Wren", 5658), ("Otter", 5695)]), (2, [("Late", 5658)])]


class TestRows:
    def test_who_left_costs_nothing(self):
        found = trade_offs(rest_of(WREN, OTTER, ROOK))
        assert found.rows[0].moved == 0
        assert [one.number for one in found.rows[0].heats] == [1, 2, 3, 4]
        assert found.rows[0].joins == ()

    def test_flown_heats_are_not_in_the_rows(self):
        row = trade_offs(rest_of(WREN, OTTER, ROOK, QUILL, first_open=3)).rows[0]
        assert [one.number for one in row.heats] == [3, 4]

    def test_nothing_ahead_leaves_no_row(self):
        found = trade_offs(rest_of(WREN, OTTER, ROOK, QUILL, first_open=5))
        assert found.rows == ()
        assert found.in_the_way == ()

    def test_a_noisy_channel_moves_whoever_is_on_it(self):
        found = trade_offs(rest_of(WREN, OTTER, ROOK, QUILL, bans_mhz=(5695,)))
        row = found.rows[0]
        assert row.moved == 1
        assert row.moves == (Move("Otter", 5695, row.moves[0].to_mhz),)
        assert row.moves[0].to_mhz != 5695

    def test_each_row_is_better_than_the_one_before(self):
        crowded = tuple(
            pilot(f"P{x}", 5740 + 21 * x, channels_mhz=(*range(5740, 5830, 21), *RACE)) for x in range(5)
        )
        rest = rest_of(*crowded, heats=(heat(1, 1, *crowded),), rounds=1, aircraft=5)
        rows = trade_offs(rest).rows
        assert len(rows) >= 3
        assert [row.moved for row in rows] == sorted({row.moved for row in rows})
        for before, after in pairwise(rows):
            assert after.worst_margin_db >= before.worst_margin_db + 0.05

    def test_the_last_row_of_a_heat_alone_has_all_that_it_can_have(self):
        crowded = tuple(pilot(f"P{x}", 5658 + 37 * x) for x in range(4))
        found = trade_offs(rest_of(*crowded, heats=(heat(1, 1, *crowded),), rounds=1, aircraft=4))
        best = plan_day(DayProblem(crowded, one_heat=True)).bound_db
        assert found.is_end
        assert found.rows[-1].worst_margin_db == pytest.approx(best, abs=0.05)
        assert all(row.is_proved and row.bound_db == pytest.approx(row.worst_margin_db) for row in found.rows)

    def test_margins_are_those_of_the_radio_model_with_the_lost_transmitter(self):
        lost = Down("Lost", 5806, 200.0)
        rest = rest_of(WREN, OTTER, heats=(heat(1, 1, WREN, OTTER),), rounds=1, down=(lost,))
        row = trade_offs(rest).rows[0]
        stations = [Station(slot.callsign, slot.mhz, slot.power_mw) for slot in row.heats[0].slots]
        whole = heat_margins([*stations, Station("Lost", 5806, 200.0)], rest.problem.site).slots[:2]
        assert row.worst_margin_db == pytest.approx(min(slot.margin_db for slot in whole))
        assert row.heats[0].stressed_margin_db == pytest.approx(
            min(slot.stressed_margin_db for slot in whole)
        )

    def test_a_heat_that_stays_as_it_was_stays_proved(self):
        row = trade_offs(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late"))).rows[0]
        for one, before in zip(row.heats, TWO_ROUNDS, strict=True):
            assert one.proved == (len(one.slots) == len(before.slots))
        down = (Down("Lost", 5917, 25.0),)
        assert not any(
            one.proved for one in trade_offs(rest_of(WREN, OTTER, ROOK, QUILL, down=down)).rows[0].heats
        )

    def test_who_has_no_channel_left_is_named(self):
        stuck = pilot("Quill", 5769, channels_mhz=(5769,))
        found = trade_offs(rest_of(WREN, OTTER, ROOK, stuck, bans_mhz=(5769,)))
        assert found.left_out == ("Quill",)
        assert [len(one.slots) for one in found.rows[0].heats] == [2, 1, 2, 1]

    def test_heats_that_no_channels_can_hold_are_named(self):
        twins = [pilot(name, 5658, channels_mhz=(5658,)) for name in ("Wren", "Otter")]
        found = trade_offs(
            rest_of(*twins, ROOK, QUILL, heats=(heat(1, 1, ROOK, QUILL), heat(2, 1, *twins)), rounds=1)
        )
        assert found.rows == ()
        assert found.in_the_way == (2,)

    def test_the_caller_is_told_and_may_cancel(self):
        told = []

        def stop(progress):
            told.append(progress)
            return False

        with pytest.raises(Cancelled):
            trade_offs(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late")), stop)
        assert told[0].stage == "the best with 0 moved"
        assert told[0].nodes == 1

    def test_the_answer_is_the_same_every_time(self):
        rest = rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late"), pilot("Later"))
        assert trade_offs(rest) == trade_offs(rest)


class TestFarFromTheFewest:
    def test_a_whole_heat_is_moved_where_only_that_can_be_flown(self, monkeypatch):
        monkeypatch.setattr(changes, "MOST_MORE", 1)
        narrow = tuple(
            pilot(f"P{x}", 5658 + 20 * x, channels_mhz=(*range(5658, 5760, 20), *RACE)) for x in range(5)
        )
        rest = rest_of(*narrow, heats=(heat(1, 1, *narrow),), rounds=1, aircraft=5)
        rows = trade_offs(rest).rows
        assert [row.moved for row in rows[:2]] == [0, 1]
        assert rows[-1].moved > 1
        assert rows[-1].worst_margin_db > -12.0


SEEDS_OF_SEVERAL_HEATS = (
    *(0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 17, 18, 22, 24, 25, 27, 29, 30),
    *(31, 33, 34, 35, 37, 38, 39, 42, 43, 44, 45, 46, 47, 48, 50, 52, 53, 55, 58),
)
"""Of the first sixty: heats that the planner drew, and more than one of them."""


@pytest.mark.parametrize("seed", SEEDS_OF_SEVERAL_HEATS)
def test_rows_of_random_days_keep_every_hard_rule_and_their_claims(seed):
    dated = random_day(seed)
    # Heats in which nobody flies are left out of a published plan, so wishes by number mean other heats.
    problem = dated.with_pilots(
        tuple(replace(one, after=None, before=None, heat=None) for one in dated.pilots)
    )
    plan = plan_day(problem)
    assert len(plan.heats) > 1
    pilots = as_published(plan, problem)
    late = Pilot("Late", RACE)
    flown = len(plan.heats) // 3
    staying = pilots[:-1] if len(pilots) > 2 and not pilots[-1].together else pilots
    rest = RestOfDay(problem.with_pilots((*staying, late)), plan.heats, flown + 1, plan.common_power_mw)
    found = trade_offs(rest)
    assert found.rows
    for row in found.rows:
        whole = DayPlan("feasible", (*plan.heats[:flown], *row.heats))
        assert broken_rules(whole, rest.problem, flown) == []
        worst = min(
            (one.worst_margin_db for one in row.heats if one.worst_margin_db is not None), default=math.inf
        )
        claimed = math.inf if row.worst_margin_db is None else row.worst_margin_db
        assert claimed == pytest.approx(worst, abs=1e-6)
        assert row.bound_db is None or row.bound_db >= claimed - 1e-9
