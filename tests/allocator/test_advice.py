"""Advice against an enumerator of its own: every single change, judged by the slow model."""

import math
import random

import pytest

from server.allocator.advice import HELPS_DB, Seat, advise
from server.allocator.problem import DayProblem, Pilot
from server.radio.site import Site
from tests.radio import slow_model
from tests.radio.slow_model import Flyer

MHZ = (5658, 5695, 5732, 5769, 5806, 5843, 5880, 5917)


def seats_of(*placed, steps=(25.0,), choices=MHZ):
    """Pilots of equal gear on (MHz, mW) each."""
    return [
        Seat(Pilot(f"P{place}", tuple(choices), steps), mhz, power_mw)
        for place, (mhz, power_mw) in enumerate(placed)
    ]


def heat(seed):
    """A heat of three to five with mixed powers, antennas, steps, pins, bans and spacings."""
    draw = random.Random(seed)
    count, bans = draw.choice((3, 4, 5)), tuple(draw.sample(MHZ, draw.choice((0, 1))))
    seats = []
    for place, mhz in enumerate(draw.sample([one for one in MHZ if one not in bans], count)):
        steps = draw.choice(((25.0,), (25.0, 200.0), (5.0, 25.0, 100.0, 400.0), (25.0, 200.0, 600.0)))
        choices = tuple(sorted({mhz, *draw.sample(range(5650, 5921), 5)}))
        pilot = Pilot(
            f"P{place}",
            choices,
            steps,
            draw.choice(("rhcp", "rhcp", "lhcp")),
            draw.choice(("rhcp", "rhcp", "lhcp")),
            pin_mhz=(mhz,) if draw.random() < 0.2 else (),
        )
        seats.append(Seat(pilot, mhz, draw.choice(steps)))
    problem = DayProblem(
        tuple(seat.pilot for seat in seats),
        site=draw.choice((Site(), Site(near_m=2, far_m=15), Site(near_m=8, far_m=200))),
        bans_mhz=bans,
        minimum_spacing_mhz=draw.choice((10, 20, 30)),
    )
    return seats, problem


def flyers(seats):
    return [
        Flyer(one.pilot.callsign, one.mhz, one.power_mw, one.pilot.antenna, one.pilot.rx_antenna)
        for one in seats
    ]


def judged(crowd, problem):
    """Margin of each callsign by the slow model, infinite for a pilot alone."""
    place = slow_model.place_of(problem.site)
    found = {}
    for one in crowd:
        found[one.callsign] = slow_model.margin_db(one, crowd, place)
    return found


def every_change(seats, problem):
    """(kind, callsign, MHz or mW or None, margins by callsign), in whatever order."""
    crowd, place = flyers(seats), slow_model.place_of(problem.site)
    for number, (one, seat) in enumerate(zip(crowd, seats, strict=True)):
        others = [*crowd[:number], *crowd[number + 1 :]]
        for mhz in seat.pilot.channels_mhz:
            is_allowed = mhz not in problem.bans_mhz and not seat.pilot.pin_mhz
            if mhz == one.mhz or not is_allowed:
                continue
            if min(abs(mhz - other.mhz) for other in others) >= problem.minimum_spacing_mhz:
                yield "move", one.callsign, mhz, judged([*others, one._replace(mhz=mhz)], problem)
        for power_mw in seat.pilot.power_steps_mw:
            weaker = one._replace(power_mw=power_mw)
            holds = slow_model.link_margin_db(weaker, place) >= problem.site.receiver.fade_allowance_db
            if power_mw < one.power_mw and holds:
                yield "power", one.callsign, power_mw, judged([*others, weaker], problem)
        yield "fewer", one.callsign, None, judged(others, problem)


@pytest.mark.parametrize("seed", range(25))
def test_the_best_of_each_kind_is_the_best_of_all_single_changes(seed):
    seats, problem = heat(seed)
    now, changes = judged(flyers(seats), problem), list(every_change(seats, problem))
    for seat, advice in zip(seats, advise(seats, problem), strict=True):
        name = seat.pilot.callsign
        told = {change.kind: change for change in advice.best}
        for kind in ("move", "power", "fewer"):
            helping = [
                (round(margins[name], 2), round(min(margins.values()), 2))
                for which, _, _, margins in changes
                if which == kind
                and name in margins
                and margins[name] >= now[name] + HELPS_DB
                and round(min(margins.values()), 2) >= round(min(now.values()), 2)
            ]
            assert (kind in told) == bool(helping)
            if helping:
                change = told[kind]
                mine = change.margins_db[seats.index(seat)]
                assert (round(mine, 2), round(change.worst_db, 2)) == max(helping)


@pytest.mark.parametrize("seed", range(25))
def test_what_a_change_is_said_to_bring_is_what_the_slow_model_says(seed):
    seats, problem = heat(seed)
    known = {(kind, name, value): margins for kind, name, value, margins in every_change(seats, problem)}
    for advice in advise(seats, problem):
        for change in advice.best:
            name = seats[change.place].pilot.callsign
            margins = known[change.kind, name, change.mhz or change.power_mw]
            for seat, margin_db in zip(seats, change.margins_db, strict=True):
                expected = margins.get(seat.pilot.callsign)
                if expected is None:
                    assert math.isnan(margin_db)
                else:
                    assert margin_db == pytest.approx(expected, abs=1e-6)


def test_the_ceiling_is_what_far_carriers_alone_leave():
    seats = seats_of((5658, 25), (5755, 25), (5917, 200), steps=(25.0, 200.0))
    first, _, third = advise(seats, DayProblem(tuple(seat.pilot for seat in seats)))
    # 28 dB of protection, 20 dB of distance; the others together 225 mW against 25, or 50 against 200.
    assert first.ceiling_db == pytest.approx(28 - 20 - 10 * math.log10(9))
    assert third.ceiling_db == pytest.approx(28 - 20 + 10 * math.log10(4))


def test_at_the_ceiling_no_move_is_offered_and_one_pilot_fewer_is():
    seats = seats_of((5658, 1), (5755, 1), (5917, 1))
    advice = advise(seats, DayProblem(tuple(seat.pilot for seat in seats)))[0]
    assert advice.is_ceiling
    assert [change.kind for change in advice.best] == ["fewer"]


def test_below_the_ceiling_says_so():
    seats = seats_of((5658, 25), (5695, 25))
    advice = advise(seats, DayProblem(tuple(seat.pilot for seat in seats)))[0]
    assert not advice.is_ceiling
    assert [change.kind for change in advice.best] == ["move", "fewer"]
    assert advice.best[1].worst_db == math.inf


def test_the_smallest_step_is_told_where_two_are_equally_good():
    # From 5734 on, 76 MHz away, the protection ratio is at its floor.
    seats = seats_of((5658, 25), (5690, 25), choices=(5658, 5690, 5769, 5806, 5880))
    best = advise(seats, DayProblem(tuple(seat.pilot for seat in seats)))[0].best[0]
    assert (best.place, best.mhz) == (1, 5769)


def test_a_hot_neighbour_is_told_to_turn_down_to_a_step_that_carries():
    seats = seats_of((5658, 25), (5880, 600), steps=(1.0, 25.0, 600.0))
    problem = DayProblem(tuple(seat.pilot for seat in seats))
    first, hot = advise(seats, problem)
    power = next(change for change in first.best if change.kind == "power")
    assert (power.place, power.mhz, power.power_mw) == (1, None, 25.0)
    assert all(change.kind != "power" for change in hot.best)


def test_no_help_for_one_at_the_cost_of_the_worst():
    # P0 would gain by going up towards P1, who has the worst margin and would lose.
    seats = [
        Seat(Pilot("P0", (5658, 5840)), 5658, 25.0),
        Seat(Pilot("P1", (5880,)), 5880, 25.0),
        Seat(Pilot("P2", (5685,)), 5685, 25.0),
    ]
    problem = DayProblem(tuple(seat.pilot for seat in seats), minimum_spacing_mhz=20)
    first, second, third = advise(seats, problem)
    assert first.best[0].mhz == 5840
    assert all(change.kind != "move" for change in second.best)
    assert third.best[0].mhz == 5840


def test_a_pilot_alone_needs_nothing():
    (advice,) = advise(seats_of((5658, 25)), DayProblem((Pilot("P0", MHZ),)))
    assert advice.best == ()
    assert advice.ceiling_db == math.inf


def test_nobody_gives_no_advice():
    assert advise([], DayProblem(())) == ()


def moves_of_the_first(choices, *placed):
    """The best move of P0, who alone can change, at a spacing of 20 MHz."""
    seats = [Seat(Pilot(f"P{n}", choices if n == 0 else (mhz,)), mhz, 25.0) for n, mhz in enumerate(placed)]
    best = advise(seats, DayProblem(tuple(seat.pilot for seat in seats)))[0].best
    return [change.mhz for change in best if change.kind == "move"]


def test_just_the_minimum_spacing_is_free_and_one_less_is_not():
    assert moves_of_the_first((5705, 5720), 5705, 5700, 5917) == [5720]
    assert moves_of_the_first((5705, 5719), 5705, 5700, 5917) == []


def test_of_two_equal_steps_the_own_one_is_told():
    seats = [Seat(Pilot("P0", (5700, 5600)), 5700, 25.0), Seat(Pilot("P1", (5730, 5830)), 5730, 25.0)]
    second = advise(seats, DayProblem(tuple(seat.pilot for seat in seats)))[1]
    assert (second.best[0].place, second.best[0].mhz) == (1, 5830)


def test_a_pilot_alone_is_at_no_ceiling():
    assert not advise(seats_of((5658, 25)), DayProblem((Pilot("P0", MHZ),)))[0].is_ceiling
