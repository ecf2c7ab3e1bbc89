"""The channels of one heat: known facts, properties that must hold, and what a stopped search says."""

import itertools
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.allocator import heat as heat_module
from server.allocator.heat import best_channels, best_worst_margin
from server.allocator.problem import DayProblem, Pilot
from server.allocator.scoring import day_gear
from server.radio.channels import band
from server.radio.site import PRESETS, Receiver, Site
from tests.allocator import brute_force
from tests.allocator.brute_force import facts_of
from tests.allocator.mixes import equal_pilots, mix, usual_mhz
from tests.radio.slow_model import place_of

BAND_R_MHZ = tuple(sorted(one.mhz for one in band("R")))
SAME_DB = 1e-6


def best_margin_db(pilots, powers_mw, site=None, spacing_mhz=20):
    problem = DayProblem(tuple(pilots), site=site or Site(), minimum_spacing_mhz=spacing_mhz, one_heat=True)
    return best_worst_margin(day_gear(problem, powers_mw)).best_margin_db


# Facts


@pytest.mark.parametrize("power_mw", [25, 600])
@pytest.mark.parametrize("preset", PRESETS)
def test_two_equal_pilots_get_the_outermost_pair(preset, power_mw):
    answer = best_channels(equal_pilots(2, usual_mhz(), power_mw, PRESETS[preset]).gear)
    assert answer.mhz == (5658, 5945)
    assert answer.is_exact


def test_two_equal_pilots_get_the_outermost_allowed_pair():
    problem = DayProblem(
        (Pilot("Wren", (5658, 5700, 5800, 5917)), Pilot("Otter", (5658, 5700, 5800, 5917))),
        bans_mhz=(5658,),
        one_heat=True,
    )
    assert best_channels(day_gear(problem, (25, 25))).mhz == (5700, 5917)


def test_eight_equal_pilots_of_all_bands_reach_minus_0_59_db():
    answer = best_worst_margin(equal_pilots(8, usual_mhz()).gear)
    assert round(answer.best_margin_db, 2) == -0.59
    assert answer.is_best_proved
    assert answer.worst_margin_db == answer.best_margin_db


def test_four_pilots_with_band_r_only_reach_3_22_db():
    answer = best_channels(equal_pilots(4, BAND_R_MHZ).gear)
    assert round(answer.best_margin_db, 2) == 3.22
    assert (answer.is_best_proved, answer.is_stress_proved, answer.is_exact) == (True, True, True)


def test_of_two_with_unequal_gear_that_tie_the_first_gets_the_lower_channel():
    pilots = (Pilot("Wren", BAND_R_MHZ), Pilot("Otter", BAND_R_MHZ))
    for powers_mw in ((25, 200), (200, 25)):
        gear = day_gear(DayProblem(pilots, one_heat=True), powers_mw)
        assert best_channels(gear).mhz == (5658, 5917)


def test_a_pilot_alone_hears_nothing_and_gets_the_lowest_channel():
    answer = best_channels(equal_pilots(1, BAND_R_MHZ).gear)
    assert answer.mhz == (5658,)
    assert (answer.worst_margin_db, answer.best_margin_db) == (np.inf, np.inf)
    assert answer.is_exact


def test_a_pilot_alone_stays_on_the_current_channel():
    answer = best_channels(equal_pilots(1, BAND_R_MHZ, current_mhz=5806).gear)
    assert answer.mhz == (5806,)


def test_pilots_within_the_indifference_stay_where_they_are():
    # 5917 and 5945 are both past the floor of the protection ratio: the margin is the same, so nobody moves.
    pilots = (
        Pilot("Wren", tuple(usual_mhz()), current_mhz=5665),
        Pilot("Otter", tuple(usual_mhz()), current_mhz=5917),
    )
    answer = best_channels(day_gear(DayProblem(pilots, one_heat=True), (25, 25)))
    assert answer.mhz == (5665, 5917)


def test_channels_of_the_day_come_before_wide_spacing():
    pilots = (Pilot("Wren", BAND_R_MHZ), Pilot("Otter", BAND_R_MHZ))
    problem = DayProblem(pilots, one_heat=True, day_channels=(5732, 5843))
    assert best_channels(day_gear(problem, (25, 25))).mhz == (5732, 5843)


def test_staying_comes_before_channels_of_the_day():
    pilots = (Pilot("Wren", BAND_R_MHZ, current_mhz=5658), Pilot("Otter", BAND_R_MHZ))
    problem = DayProblem(pilots, one_heat=True, day_channels=(5732, 5843))
    assert best_channels(day_gear(problem, (25, 25))).mhz == (5658, 5843)


def test_no_assignment_is_an_answer_without_channels():
    together = DayProblem((Pilot("Wren", (5800,)), Pilot("Otter", (5805,))), one_heat=True)
    nothing_left = DayProblem((Pilot("Wren", (5800,)),), bans_mhz=(5800,), one_heat=True)
    for problem in (together, nothing_left):
        for search in (best_channels, best_worst_margin):
            answer = search(day_gear(problem, (25,) * len(problem.pilots)))
            assert answer.mhz == ()
            assert (answer.worst_margin_db, answer.stressed_margin_db) == (-np.inf, -np.inf)
            assert (answer.is_best_proved, answer.is_stress_proved, answer.is_exact) == (True, True, True)
            assert answer.best_margin_db == -np.inf


def test_spacing_holds_to_the_megahertz():
    pilots = (Pilot("Wren", (5800,)), Pilot("Otter", (5819, 5820)))
    assert best_channels(day_gear(DayProblem(pilots, one_heat=True), (25, 25))).mhz == (5800, 5820)
    tighter = DayProblem(pilots, one_heat=True, minimum_spacing_mhz=21)
    assert best_channels(day_gear(tighter, (25, 25))).mhz == ()


# Properties


@pytest.mark.parametrize("seed", range(30))
def test_adding_a_pilot_never_raises_the_best_margin(seed):
    heat = mix(seed, 5, 10)
    best = [
        best_margin_db(
            heat.problem.pilots[:count],
            heat.powers_mw[:count],
            heat.problem.site,
            heat.problem.minimum_spacing_mhz,
        )
        for count in range(1, 6)
    ]
    assert all(more <= fewer + SAME_DB for fewer, more in itertools.pairwise(best) if more != fewer)


@pytest.mark.parametrize("seed", range(30))
def test_more_channels_never_lower_the_best_margin(seed):
    draw = random.Random(seed)
    heat = mix(seed, 4, 10)
    wider = [
        Pilot(
            one.callsign,
            tuple({*one.channels_mhz, *draw.sample(usual_mhz(), 3)}),
            antenna=one.antenna,
            rx_antenna=one.rx_antenna,
            gain_dbi=one.gain_dbi,
        )
        for one in heat.problem.pilots
    ]
    freed = [
        Pilot(one.callsign, one.channels_mhz, (25.0,), one.antenna, one.rx_antenna, one.gain_dbi)
        for one in heat.problem.pilots
    ]
    before, after = (
        best_margin_db(pilots, heat.powers_mw, heat.problem.site, heat.problem.minimum_spacing_mhz)
        for pilots in (freed, wider)
    )
    assert after >= before or before - after < SAME_DB


@pytest.mark.parametrize("seed", range(40))
def test_the_order_of_the_rows_changes_neither_channels_nor_margins(seed):
    heat = mix(seed, 3 + seed % 3, 10)
    order = random.Random(seed).sample(range(len(heat.entries)), len(heat.entries))
    turned = heat._replace(
        problem=heat.problem.with_pilots(tuple(heat.problem.pilots[x] for x in order)),
        powers_mw=tuple(heat.powers_mw[x] for x in order),
        entries=tuple(heat.entries[x] for x in order),
    )
    one, other = best_channels(heat.gear), best_channels(turned.gear)
    assert sorted(one.mhz) == sorted(other.mhz)
    assert one.best_margin_db == pytest.approx(other.best_margin_db, abs=SAME_DB)
    if one.mhz:
        place = place_of(heat.problem.site)
        assert (
            facts_of(heat.entries, one.mhz, place, heat.day_set_mhz)[2:6]
            == facts_of(turned.entries, other.mhz, place, heat.day_set_mhz)[2:6]
        )


@pytest.mark.parametrize("seed", range(20))
def test_callsigns_change_nothing(seed):
    heat = mix(seed, 4, 10)
    renamed = tuple(
        Pilot(
            f"Z{x}",
            one.channels_mhz,
            one.power_steps_mw,
            one.antenna,
            one.rx_antenna,
            one.gain_dbi,
            current_mhz=one.current_mhz,
            pin_mhz=one.pin_mhz,
        )
        for x, one in enumerate(heat.problem.pilots)
    )
    gear = day_gear(heat.problem.with_pilots(renamed), heat.powers_mw)
    assert best_channels(gear) == best_channels(heat.gear)


def widest_spacing_mhz(choices_mhz, count):
    """The widest minimum spacing that so many channels can have, by trying every width."""

    def fit(width_mhz):
        taken = 0
        last = -width_mhz
        for f in sorted(choices_mhz):
            if f - last >= width_mhz:
                taken, last = taken + 1, f
        return taken >= count

    return max(width for width in range(1, 400) if fit(width))


def closest_mhz(mhz):
    return min(b - a for a, b in itertools.pairwise(sorted(mhz)))


@pytest.mark.parametrize(
    ("site", "power_mw"),
    [
        *((site, 25) for site in PRESETS.values()),
        (Site(), 200),
        (Site(), 600),
        (PRESETS["long field"], 200),
        (PRESETS["long field"], 600),
        (Site(receiver=Receiver(iip3_dbm=-15)), 25),
        (Site(receiver=Receiver(iip3_dbm=-15)), 600),
        (Site(near_m=3, far_m=200), 200),
    ],
)
@pytest.mark.parametrize("count", [2, 3, 4])
def test_up_to_four_equal_pilots_are_spaced_by_60_percent_of_the_widest(count, site, power_mw):
    answer = best_channels(equal_pilots(count, usual_mhz(), power_mw, site).gear)
    assert closest_mhz(answer.mhz) >= 0.6 * widest_spacing_mhz(usual_mhz(), count)


@pytest.mark.parametrize("count", [2, 3, 4])
def test_pilots_of_band_r_at_25_mw_are_spaced_by_60_percent_of_the_widest(count):
    answer = best_channels(equal_pilots(count, BAND_R_MHZ).gear)
    assert closest_mhz(answer.mhz) >= 0.6 * widest_spacing_mhz(BAND_R_MHZ, count)


@pytest.mark.parametrize(("site", "power_mw"), [(PRESETS["hall"], 25), (PRESETS["hall"], 600), (Site(), 600)])
def test_where_products_rule_on_an_even_grid_the_stages_themselves_give_spacing_up(site, power_mw):
    # Band R offers steps of 37 MHz only. A stressed receiver wants the ruler 0 1 3 7, which has neighbours at
    # half of the widest spacing: enumeration says the same.
    heat = equal_pilots(4, BAND_R_MHZ, power_mw, site)
    answer = best_channels(heat.gear)
    assert answer.mhz == brute_force.best(heat.entries, place_of(site)).mhz == (5658, 5695, 5769, 5917)


@settings(max_examples=40)
@given(
    choices=st.lists(st.sampled_from(usual_mhz()), min_size=3, max_size=10, unique=True),
    count=st.integers(2, 3),
    power_mw=st.sampled_from([25, 200, 600]),
)
def test_equal_pilots_get_channels_in_the_order_of_the_roster(choices, count, power_mw):
    mhz = best_channels(equal_pilots(count, choices, power_mw).gear).mhz
    assert list(mhz) == sorted(mhz)


@settings(max_examples=40)
@given(seed=st.integers(0, 10_000), start=st.integers(1, 1_000))
def test_where_the_search_starts_does_not_change_where_it_ends(seed, start):
    heat = mix(seed, 3, 8)
    one, other = best_channels(heat.gear, seed=1), best_channels(heat.gear, seed=start)
    assert one.mhz == other.mhz
    assert one.best_margin_db == pytest.approx(other.best_margin_db, abs=SAME_DB)


@pytest.mark.parametrize("seed", range(10))
def test_indifference_gives_up_that_much_of_the_margin_and_no_more(seed):
    heat = mix(seed, 4, 10)
    exact, loose = (best_channels(heat.gear, indifference_db=db) for db in (0.0, 3.0))
    assert exact.worst_margin_db == pytest.approx(exact.best_margin_db, abs=SAME_DB)
    assert loose.best_margin_db == pytest.approx(exact.best_margin_db, abs=SAME_DB)
    assert loose.worst_margin_db >= loose.best_margin_db - 3.0 - SAME_DB
    assert loose.stressed_margin_db >= exact.stressed_margin_db - 3.0 - SAME_DB


def test_the_usual_indifference_is_that_of_a_site():
    gear = mix(1, 4, 10).gear
    assert best_channels(gear) == best_channels(gear, Site().indifference_db)
    assert best_channels(gear) != best_channels(gear, 3 * Site().indifference_db)


def test_a_pilot_without_a_channel_is_seen_before_any_search():
    pilots = (Pilot("Wren", (5800,)), Pilot("Otter", BAND_R_MHZ))
    gear = day_gear(DayProblem(pilots, bans_mhz=(5800,), one_heat=True), (25, 25))
    assert [search(gear).nodes for search in (best_channels, best_worst_margin)] == [0, 0]


# A stopped search


def stopped_searches():
    """Heats with the node budgets at which their search may be stopped, from none to all but one."""
    for seed in range(6):
        heat = mix(seed, 3 + seed % 2, 9)
        whole = best_channels(heat.gear)
        budgets = {0, 1, 2, 3, whole.nodes - 1, *range(0, whole.nodes, whole.nodes // 8 + 1)}
        for limit in sorted(budgets) if whole.mhz else ():
            yield heat.gear, whole, limit


def test_a_budget_stops_the_search_and_the_answer_says_what_is_not_proved():
    for gear, whole, limit in stopped_searches():
        begun = set()
        answer = best_channels(
            gear, node_limit=limit, keep_going=lambda stage, *_, begun=begun: not begun.add(stage)
        )
        assert answer.nodes <= limit
        assert answer.is_best_proved or "stressed margin" not in begun
        assert answer.is_stress_proved or "choice among equals" not in begun
        assert not answer.is_exact
        assert answer.best_margin_db >= whole.best_margin_db - SAME_DB
        if answer.mhz:
            assert answer.worst_margin_db <= answer.best_margin_db + SAME_DB
            assert all(gear.usable[x, np.searchsorted(gear.mhz, f)] for x, f in enumerate(answer.mhz))
        if answer.is_best_proved:
            assert answer.best_margin_db == pytest.approx(whole.best_margin_db, abs=SAME_DB)
            assert answer.worst_margin_db >= whole.best_margin_db - 0.5 - SAME_DB


def test_a_budget_may_end_within_each_stage():
    proofs = {
        (answer.is_best_proved, answer.is_stress_proved, answer.is_exact)
        for answer in (best_channels(gear, node_limit=limit) for gear, _, limit in stopped_searches())
    }
    assert proofs == {(False, False, False), (True, False, False), (True, True, False)}


def test_a_budget_may_end_before_anything_is_found():
    # Four channels that no three pilots can share: the descents find nothing, and two nodes prove nothing.
    gear = equal_pilots(3, (5800, 5810, 5820, 5839)).gear
    for search in (best_channels, best_worst_margin):
        answer = search(gear, node_limit=2)
        assert (answer.mhz, answer.nodes) == ((), 2)
        assert (answer.worst_margin_db, answer.stressed_margin_db) == (-np.inf, -np.inf)
        assert (answer.is_best_proved, answer.is_stress_proved, answer.is_exact) == (False, False, False)
        assert answer.best_margin_db == pytest.approx(4.99, abs=0.01)  # the bound: carriers at the floor


def test_a_budget_that_the_search_does_not_use_up_changes_nothing():
    gear = mix(3, 5, 12).gear
    whole = best_channels(gear)
    assert best_channels(gear, node_limit=whole.nodes + 1) == whole


def test_the_same_budget_gives_the_same_answer():
    for gear, _, limit in stopped_searches():
        assert best_channels(gear, node_limit=limit) == best_channels(gear, node_limit=limit)


def test_stage_1_alone_stops_at_its_budget():
    gear = equal_pilots(4, usual_mhz()[::2], 600).gear
    half = best_worst_margin(gear).nodes // 2
    answer = best_worst_margin(gear, node_limit=half)
    assert answer.nodes == half > 0
    assert not answer.is_best_proved
    assert answer.worst_margin_db <= answer.best_margin_db


@pytest.mark.parametrize("chunk_nodes", [1, 7, 10_000_000])
def test_chunks_do_not_change_the_answer(monkeypatch, chunk_nodes):
    heats = [mix(seed, 2 + seed % 3, 10) for seed in range(9)]
    usual = [best_channels(heat.gear) for heat in heats]
    monkeypatch.setattr(heat_module, "CHUNK_NODES", chunk_nodes)
    assert [best_channels(heat.gear) for heat in heats] == usual


def test_progress_tells_stage_nodes_and_the_best_so_far(monkeypatch):
    monkeypatch.setattr(heat_module, "CHUNK_NODES", 5)
    told = []

    def keep_going(stage, nodes, margin_db):
        told.append((stage, nodes, margin_db))
        return True

    answer = best_channels(equal_pilots(4, BAND_R_MHZ).gear, keep_going=keep_going)
    stages = [stage for stage, _ in itertools.groupby(told, key=lambda row: row[0])]
    assert stages == ["best worst margin", "stressed margin", "choice among equals"]
    nodes = [row[1] for row in told]
    assert nodes == sorted(nodes)
    assert nodes[-1] == answer.nodes
    first = [row[2] for row in told if row[0] == stages[0] and row[2] is not None]
    assert first == sorted(first)
    assert first[-1] == pytest.approx(answer.best_margin_db)


@pytest.mark.parametrize("looks", [1, 2, 3, 4, 5, 6, 8, 13, 21, 29])
def test_cancelling_stops_at_once_with_what_is_known(monkeypatch, looks):
    monkeypatch.setattr(heat_module, "CHUNK_NODES", 5)
    gear = mix(4, 4, 10).gear
    whole = best_channels(gear)
    calls = []

    def keep_going(stage, nodes, margin_db):
        calls.append(nodes)
        return len(calls) < looks

    answer = best_channels(gear, keep_going=keep_going)
    assert len(calls) <= looks
    if len(calls) == looks and answer.nodes < whole.nodes:
        assert not answer.is_exact
    assert answer.best_margin_db >= whole.best_margin_db - SAME_DB


def test_only_as_many_as_must_are_moved_where_three_exchange_channels():
    # Two are set to 5800, so one of them moves; who moves first in the order of the roster takes the lowest.
    channels = (5658, 5800, 5917)
    pilots = [
        Pilot(name, channels, current_mhz=mhz) for name, mhz in zip("ABC", (5800, 5917, 5800), strict=True)
    ]
    answer = best_channels(day_gear(DayProblem(tuple(pilots), one_heat=True), (25, 25, 25)))
    assert answer.mhz == (5658, 5917, 5800)
