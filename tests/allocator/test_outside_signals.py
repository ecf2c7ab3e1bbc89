"""Days beside outside signals: bounds hold, and one who flies alone is not taken for undisturbed."""

import math
from dataclasses import replace

import numpy as np
import pytest

from server.allocator import kernel, provisional
from server.allocator.advice import Seat, advise
from server.allocator.compositions import ceilings_db, kinds_by_radiation
from server.allocator.open_flying import Place, Up, Wait, Why, margins, offer
from server.allocator.power import levels_tried
from server.allocator.problem import DayProblem, Pilot
from server.allocator.scoring import day_gear, margin_of_load_db, margins_db, quietest_mw, station
from server.allocator.solve import plan_day
from server.allocator.switching_on import OnTheGround, spoilt_by
from server.radio.interference import heat_margins
from server.radio.outside import OutsideSignal
from server.radio.site import Site
from tests.allocator.called import called

background_at = called(kernel.background_at)

R3, R6 = 5732, 5843
ON_R3 = Site(outside=(OutsideSignal(R3, 10, -85),))
ALONE_ON_R3_DB = -69.79 + 85 - 28


def pilots(count, *channels_mhz):
    return tuple(Pilot(f"P{x}", channels_mhz or (R3, R6)) for x in range(count))


def problem(count=1, *channels_mhz, site=ON_R3, **values):
    return DayProblem(pilots(count, *channels_mhz), site, **values)


class TestBackground:
    def test_it_is_what_the_radio_model_hears_on_each_channel(self):
        gear = day_gear(problem(), [25])
        for mhz in (5600, R3, 5760, R6):
            slot = heat_margins([_station(mhz)], ON_R3).slots[0]
            load = background_at(gear, mhz) / gear.wanted_mw[0]
            assert float(margin_of_load_db(load)) == pytest.approx(slot.margin_db)

    def test_it_is_nothing_outside_its_table_and_on_a_quiet_site(self):
        heard, quiet = day_gear(problem(), [25]), day_gear(problem(site=Site()), [25])
        assert background_at(heard, 5300) > 0
        assert background_at(heard, 6000) > 0
        assert [background_at(heard, mhz) for mhz in (5299, 6001)] == [0, 0]
        assert background_at(quiet, R3) == 0
        assert quiet.background.size == 0

    def test_signals_add_up(self):
        both = replace(Site(), outside=(*ON_R3.outside, OutsideSignal(R6, 0, -90)))
        one, other = day_gear(problem(), [25]), day_gear(problem(site=both), [25])
        assert background_at(other, R3) > background_at(one, R3)
        assert background_at(other, R6) == pytest.approx(
            background_at(one, R6) + 10 ** (-9.0 + 2.8), rel=1e-6
        )

    def test_the_quietest_channel_is_among_those_that_a_pilot_can_use(self):
        gear = day_gear(DayProblem((*pilots(1, R3), *pilots_named("Q", R3, R6)), ON_R3), [25, 25])
        assert quietest_mw(gear).tolist() == [background_at(gear, R3), background_at(gear, R6)]
        assert quietest_mw(day_gear(problem(site=Site()), [25])).tolist() == [0]


class TestDays:
    def test_a_pilot_alone_is_put_on_the_quiet_channel(self):
        (heat,) = plan_day(problem()).heats
        assert heat.slots[0].mhz == R6
        assert heat.worst_margin_db > 0

    def test_one_who_must_fly_in_it_has_the_margin_it_leaves(self):
        plan = plan_day(problem(1, R3))
        assert plan.worst_margin_db == pytest.approx(ALONE_ON_R3_DB, abs=0.1)
        assert plan.bound_db == pytest.approx(plan.worst_margin_db)
        assert plan.status == "optimal"

    def test_no_plan_beats_the_bound_and_heats_are_as_good_as_the_model_says(self):
        channels = (5658, 5695, R3, 5769, 5806, R6, 5880, 5917)
        plan = plan_day(problem(8, *channels, aircraft=4))
        assert plan.worst_margin_db <= plan.bound_db + 1e-6
        assert R3 not in {slot.mhz for heat in plan.heats for slot in heat.slots}

    def test_ceilings_of_compositions_count_the_quietest_channel(self):
        nobody = np.zeros((2, 2), dtype=np.bool_)
        gear = day_gear(problem(2, R3), [25, 25])
        kinds = kinds_by_radiation(gear, range(2), nobody, nobody, 100)
        (alone,) = ceilings_db(kinds.gear, np.array([[1]]))
        assert alone == pytest.approx(ALONE_ON_R3_DB, abs=0.1)

    def test_levels_of_power_are_told_apart_by_a_pilot_alone(self):
        plan = plan_day(DayProblem((Pilot("P0", (R3,), power_steps_mw=(25, 200)),), ON_R3))
        low, high = levels_tried(plan_problem(), plan.heats, 200)
        assert high.worst_margin_db == pytest.approx(low.worst_margin_db + 9.03, abs=0.01)


def test_a_provisional_channel_shuns_it():
    given = provisional.provisional_channel(pilots(1, R3, R6, 5917)[0], (), problem(0, aircraft=2))
    assert given.mhz == R6


class TestOpenFlying:
    def test_who_asks_gets_the_quiet_channel(self):
        place = offer(pilots(1)[0], (), problem(0))
        assert isinstance(place, Place)
        assert place.mhz == R6

    def test_nobody_is_sent_up_into_it(self):
        loud = Site(outside=(OutsideSignal(R3, 10, -70),))
        assert offer(pilots(1, R3)[0], (), problem(0, site=loud)) == Wait(Why.PICTURE, ("P0",))

    def test_a_pilot_alone_has_its_margin(self):
        (margin,) = margins([Up(pilots(1)[0], R3, 25)], problem(0))
        assert margin == pytest.approx(ALONE_ON_R3_DB, abs=0.1)

    def test_who_is_spoilt_already_is_no_newcomers_fault_unless_it_loses_more(self):
        on = [Up(pilots(1)[0], R6, 25)]
        assert spoilt_by([OnTheGround(Up(pilots_named("Q", 5658)[0], 5658, 25))], on, problem(0)) == ()


class TestAdvice:
    def test_a_pilot_alone_is_told_to_leave_the_channel(self):
        (advice,) = advise([Seat(pilots(1)[0], R3, 25)], problem(1))
        assert [(change.kind, change.mhz) for change in advice.best] == [("move", R6)]
        assert advice.ceiling_db == pytest.approx(-69.79 + 85 + 28, abs=0.01)

    def test_on_a_quiet_site_a_pilot_alone_needs_none(self):
        (advice,) = advise([Seat(pilots(1)[0], R3, 25)], problem(1, site=Site()))
        assert advice.best == ()
        assert math.isinf(advice.ceiling_db)

    def test_the_ceiling_of_a_slot_counts_the_quietest_channel(self):
        seats = [Seat(one, mhz, 25) for one, mhz in zip(pilots(2), (R3, R6), strict=True)]
        quiet, heard = advise(seats, problem(2, site=Site())), advise(seats, problem(2))
        assert heard[0].ceiling_db < quiet[0].ceiling_db
        gear = day_gear(problem(2), [25, 25])
        load = (gear.protection[-1] * gear.level_mw[0, 1] + background_at(gear, R6)) / gear.wanted_mw[0]
        assert heard[0].ceiling_db == pytest.approx(float(margin_of_load_db(load)))


def test_margins_of_the_kernel_hear_it_on_frequencies_that_no_pilot_has():
    gear = day_gear(problem(1, R6), [25])
    assert margins_db(gear, [0], [R3])[0][0] == pytest.approx(ALONE_ON_R3_DB, abs=0.1)


def plan_problem():
    return DayProblem((Pilot("P0", (R3,), power_steps_mw=(25, 200)),), ON_R3)


def pilots_named(name, *channels_mhz):
    return (Pilot(name, channels_mhz),)


def _station(mhz):
    return station(pilots(1)[0], mhz, 25)
