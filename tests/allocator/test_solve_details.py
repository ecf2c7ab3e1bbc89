"""What a plan says of itself: numbers of heats, proofs, cures, limits of time and nodes; the table of sizes."""

from dataclasses import replace

import pytest

from server.allocator import planner
from server.allocator.errors import Cancelled
from server.allocator.feasibility import UndecidedError
from server.allocator.plan import Heat, Slot
from server.allocator.problem import DayProblem, Pilot
from server.allocator.solve import how_many_can_fly, plan_day
from server.allocator.totals import moved_pilots, repeat_pairings, retunes
from server.radio.grade import picture_grade
from server.radio.interference import Station, heat_margins, site_ceiling_db
from server.radio.site import Site
from tests.allocator.days import ALL_BANDS, equal_pilots, tuned

BAD_PICTURES = Site(near_m=8, far_m=1000)


def day_of(count, channels=ALL_BANDS, **wishes):
    return DayProblem(equal_pilots(count, channels), **{"time_limit_s": None, **wishes})


# Heats and their numbers


def test_heats_are_numbered_through_the_day_with_their_rounds():
    plan = plan_day(day_of(6, aircraft=2, rounds=2))
    assert [(heat.number, heat.round) for heat in plan.heats] == [
        (1, 1),
        (2, 1),
        (3, 1),
        (4, 2),
        (5, 2),
        (6, 2),
    ]
    assert not any(heat.proved for heat in plan.heats)


def test_one_heat_is_the_first_of_the_first_round():
    plan = plan_day(day_of(3, one_heat=True))
    assert [(heat.number, heat.round, heat.proved) for heat in plan.heats] == [(1, 1, True)]


def test_given_heats_are_numbered_as_they_were_given():
    plan = plan_day(day_of(4, heats_given=(("P03", "P00"), ("P01", "P02"), ("P00", "P01"))))
    assert [(heat.number, heat.round) for heat in plan.heats] == [(1, 1), (2, 1), (3, 2)]


def test_slots_stand_by_frequency():
    for heat in plan_day(day_of(6, aircraft=3)).heats:
        assert [slot.mhz for slot in heat.slots] == sorted(slot.mhz for slot in heat.slots)


def test_the_worst_heat_speaks_for_the_plan():
    # One heat with the loud transmitter, one without.
    pilots = (*equal_pilots(5), Pilot("Otter", ALL_BANDS, (200.0,)))
    plan = plan_day(DayProblem(pilots, aircraft=3, common_power_mw=25.0, time_limit_s=None))
    worst = [heat.worst_margin_db for heat in plan.heats]
    assert worst[0] != pytest.approx(worst[1], abs=1.0)
    assert plan.worst_margin_db == min(worst)
    assert plan.stressed_margin_db == min(heat.stressed_margin_db for heat in plan.heats)


def test_the_site_ceiling_is_that_of_the_largest_heat():
    plan = plan_day(day_of(5, aircraft=3))
    assert plan.site_ceiling_db == pytest.approx(site_ceiling_db(3, Site()))
    assert plan_day(day_of(1)).site_ceiling_db is None


def test_margins_of_a_heat_are_those_of_the_radio_model():
    day = day_of(3, one_heat=True)
    heat = plan_day(day).heats[0]
    truth = heat_margins([Station(slot.callsign, slot.mhz, slot.power_mw) for slot in heat.slots], day.site)
    assert heat.worst_margin_db == pytest.approx(truth.worst_margin_db)
    assert heat.stressed_margin_db == pytest.approx(truth.stressed_margin_db)


# What is proved


def test_a_gap_is_the_bound_less_the_margin_and_never_below_zero():
    # Two who fly together on neighbouring channels: the bound leaves wishes among pilots of one radiation out.
    near = Pilot("Otter", (5658,), together=frozenset({"Umber"}))
    pilots = (*equal_pilots(2), near, Pilot("Umber", (5690,)))
    plan = plan_day(DayProblem(pilots, aircraft=2, common_power_mw=25.0, time_limit_s=None))
    assert plan.gap_db == pytest.approx(max(0.0, plan.bound_db - plan.worst_margin_db))
    assert plan.gap_db > 1.0
    assert plan.status == "feasible"
    tight = plan_day(day_of(4, aircraft=2))
    assert 0.0 <= tight.gap_db <= 0.005
    assert tight.status == "optimal"


def test_a_stopped_search_says_which_of_its_stages_are_proved():
    said = {}
    for node_limit in range(2, 60):
        plan = plan_day(day_of(3, tuned("R"), one_heat=True, node_limit=node_limit))
        said.setdefault(plan.search_notes[0], plan)
    words = list(said)
    assert [one.split(",")[0].split(";")[0] for one in words] == [
        "The search was stopped before the best worst margin was proved",
        "The best worst margin is proved",
        "Worst margin and stressed margin are proved",
        "All six stages were searched to the end: no other channels are better.",
    ]
    assert [plan.status for plan in said.values()] == ["feasible"] * 3 + ["optimal"]
    assert [plan.heats[0].proved for plan in said.values()] == [False] * 3 + [True]


def test_nodes_are_those_of_all_searches():
    assert 0 < plan_day(day_of(4, one_heat=True)).nodes < 10_000
    both = DayProblem(
        tuple(
            Pilot(name, ALL_BANDS, (25.0, 200.0), gain_dbi=gain) for name, gain in (("Wren", 0), ("Rook", 1))
        ),
        one_heat=True,
        time_limit_s=None,
    )
    alone = replace(both, common_power_mw=25.0)
    assert plan_day(both).nodes > plan_day(alone).nodes > 0
    assert plan_day(day_of(4, aircraft=2)).nodes >= 4_000


def test_a_day_says_what_its_search_does_not_prove():
    assert (
        plan_day(day_of(4, aircraft=2))
        .search_notes[-1]
        .startswith("Who flies when was found by local search")
    )


def test_seconds_are_those_that_passed(monkeypatch):
    clock = iter(range(1000, 100_000))
    monkeypatch.setattr(planner.time, "perf_counter", lambda: next(clock))
    plan = plan_day(day_of(2, one_heat=True))
    assert 1 <= plan.seconds < 900


def test_a_search_that_ends_without_any_channels_says_so(monkeypatch):
    nothing = planner.best_channels
    monkeypatch.setattr(
        planner, "best_channels", lambda *given: replace(nothing(*given), mhz=(), is_exact=False)
    )
    with pytest.raises(Cancelled, match="stopped before it found any channels"):
        plan_day(day_of(3, one_heat=True))


def test_a_gap_within_a_hundredth_of_a_decibel_is_none(monkeypatch):
    def bound_above(by_db):
        best = planner.DaySearch.run
        return lambda search: replace(best(search), bound_db=search._worst_db(best(search).rounds[0]) + by_db)

    for by_db, status in ((0.004, "optimal"), (0.006, "feasible")):
        with monkeypatch.context() as patch:
            patch.setattr(planner.DaySearch, "run", bound_above(by_db))
            plan = plan_day(day_of(4, aircraft=2))
        assert plan.gap_db == pytest.approx(by_db)
        assert plan.status == status


# Limits


def test_a_time_limit_stops_the_search_and_the_plan_says_so(monkeypatch):
    clock = iter(range(1000, 1_000_000))
    monkeypatch.setattr(planner.time, "perf_counter", lambda: next(clock))
    plan = plan_day(day_of(8, one_heat=True, time_limit_s=5.0))
    assert plan.status == "feasible"
    assert "The search was stopped by the time limit of 5 s: another run may differ." in plan.search_notes


def test_a_day_within_its_time_says_nothing_of_it():
    plan = plan_day(day_of(4, aircraft=2, time_limit_s=600.0))
    assert not any("time limit" in note for note in plan.search_notes)
    assert plan == replace(plan_day(day_of(4, aircraft=2)), seconds=plan.seconds)


def test_a_stopped_day_is_a_sound_day(monkeypatch):
    clock = iter(range(1000, 1_000_000))
    monkeypatch.setattr(planner.time, "perf_counter", lambda: next(clock))
    plan = plan_day(day_of(9, aircraft=3, rounds=2, time_limit_s=3.0))
    assert [len(heat.slots) for heat in plan.heats] == [3] * 6
    assert any("time limit of 3 s" in note for note in plan.search_notes)


def test_progress_tells_stage_and_nodes_that_only_grow():
    told = []
    plan_day(day_of(6, aircraft=3, rounds=2), lambda progress: told.append(progress) or True)
    assert {progress.stage for progress in told} >= {"best worst margin", "heats of the day"}
    assert all(isinstance(progress.nodes, int) and progress.nodes >= 0 for progress in told)
    steps = [progress.nodes for progress in told if progress.stage == "heats of the day"]
    assert steps == sorted(steps)


def test_cancelling_is_told_in_words():
    with pytest.raises(Cancelled, match="the planning was cancelled"):
        plan_day(day_of(6, aircraft=3), lambda _progress: False)


def undecided(_problem):
    raise UndecidedError


def test_rules_that_are_not_decided_end_the_planning(monkeypatch):
    monkeypatch.setattr(planner, "find_conflicts", undecided)
    for wishes in ({"one_heat": True}, {"heats_given": (("P00", "P01"),)}):
        with pytest.raises(Cancelled, match="search"):
            plan_day(day_of(3, **wishes))


# Pictures that nobody should fly by


def test_one_heat_more_is_offered_with_what_it_brings():
    plan = plan_day(day_of(6, tuned("F"), one_heat=True))
    trial = plan_day(day_of(6, tuned("F"), aircraft=3, day_channels="free"))
    assert plan.status == "unflyable"
    (conflict,) = plan.conflicts
    assert conflict.rules == ("Every slot has a picture of grade 2.5 or better",)
    grade = picture_grade(plan.worst_margin_db)
    assert conflict.explanation == f"The worst slot would have grade {grade:.1f}: do not fly it."
    assert conflict.cures[0].startswith("Fly one more heat a round, at most 3 at once: worst margin ")
    assert conflict.cures[0].endswith(f"worst picture grade {picture_grade(trial.worst_margin_db):.1f}.")
    assert conflict.cures[1].startswith("Fly nearer to one's own receivers")
    assert conflict.is_cured_by_one_heat_more


def test_one_at_a_time_has_no_margin_but_the_best_grade():
    plan = plan_day(day_of(2, aircraft=2, site=BAD_PICTURES))
    assert plan.status == "unflyable"
    assert plan.conflicts[0].cures[0] == (
        "Fly one more heat a round, at most 1 at once: worst picture grade 5.0."
    )


def test_one_heat_more_that_the_rules_forbid_is_not_offered():
    pilots = (Pilot("Wren", ALL_BANDS, together=frozenset({"Rook"})), Pilot("Rook", ALL_BANDS))
    plan = plan_day(DayProblem(pilots, BAD_PICTURES, aircraft=2, time_limit_s=None))
    assert plan.status == "unflyable"
    assert len(plan.conflicts[0].cures) == 1
    assert not plan.conflicts[0].is_cured_by_one_heat_more


def test_given_heats_are_not_offered_another():
    day = day_of(3, site=BAD_PICTURES, heats_given=(("P00", "P01"), ("P02",)))
    plan = plan_day(day)
    assert plan.status == "unflyable"
    assert [cure.split()[1] for cure in plan.conflicts[0].cures] == ["nearer"]


def test_a_single_pilot_with_a_bad_picture_is_offered_no_other_heat():
    # Only the own link counts for one alone, so this is a plan of good margins.
    assert plan_day(day_of(1, site=BAD_PICTURES)).status == "optimal"


def test_heats_of_unequal_size_are_made_smaller_from_the_largest():
    plan = plan_day(day_of(5, aircraft=3, site=BAD_PICTURES))
    assert plan.conflicts[0].cures[0].startswith("Fly one more heat a round, at most 2 at once")


# How many can fly


def test_who_comes_for_a_later_round_is_counted_as_if_there():
    late = Pilot("Otter", ALL_BANDS, after=2)
    rows = how_many_can_fly(
        DayProblem((*equal_pilots(3), late), rounds=2, time_limit_s=None), minutes_a_heat=5
    )
    usual = how_many_can_fly(day_of(4), minutes_a_heat=5)
    assert rows[0].worst_margin_db == pytest.approx(usual[0].worst_margin_db)
    # With four at once the day has two heats and Otter comes after both.
    assert rows[1].why_not == "Otter is there only after heat 2, and the day has two heats."


def test_a_day_in_which_not_all_can_meet_has_a_row_of_its_own():
    pilots = (Pilot("Wren", (5700,), before=2), Pilot("Rook", ALL_BANDS), Pilot("Coot", (5700,), after=1))
    day = DayProblem(pilots, aircraft=3, rounds=2, time_limit_s=None)
    (row,) = how_many_can_fly(day, minutes_a_heat=5)
    assert (row.worst_margin_db, row.why_not) == (pytest.approx(plan_day(day).worst_margin_db), "")
    assert row.bound_db is None


def test_rows_have_the_level_of_power_that_planning_would_take():
    # Two have 200 mW only: at 25 mW the other would be drowned, and the table said so of every row.
    loud = tuple(Pilot(name, ALL_BANDS, (200.0,)) for name in ("Rook", "Coot"))
    day = DayProblem((Pilot("Wren", ALL_BANDS, (25.0, 200.0)), *loud), aircraft=3, time_limit_s=None)
    (row,) = how_many_can_fly(day, minutes_a_heat=5)
    assert row.worst_margin_db == pytest.approx(plan_day(day).worst_margin_db, abs=0.5)


def test_the_table_ends_where_one_heat_holds_everybody():
    rows = how_many_can_fly(day_of(4, rounds=3, one_heat=True), minutes_a_heat=5)
    assert [(row.aircraft, row.heats, row.minutes) for row in rows] == [(3, 2, 10), (4, 1, 5)]


def test_the_table_tells_margin_bound_and_grade_of_one_round():
    (row, *_) = how_many_can_fly(day_of(8), minutes_a_heat=6)
    assert row.worst_margin_db == pytest.approx(row.bound_db, abs=0.05)
    assert row.bound_db == pytest.approx(site_ceiling_db(3, Site()))
    assert row.worst_grade == picture_grade(row.worst_margin_db)


def test_a_pilot_alone_has_the_best_grade_in_the_table():
    (row,) = how_many_can_fly(day_of(1), minutes_a_heat=5)
    assert (row.aircraft, row.heats, row.worst_margin_db, row.bound_db, row.worst_grade) == (
        3,
        1,
        None,
        None,
        5.0,
    )


def test_sizes_that_the_rules_forbid_have_the_worst_grade():
    # Four on one channel can only fly in four heats; no size of the table gives that.
    rows = how_many_can_fly(day_of(4, (5800,)), minutes_a_heat=5)
    assert [(row.worst_margin_db, row.bound_db, row.worst_grade) for row in rows] == [(None, None, 1.0)] * 2
    assert [row.why_not for row in rows] == [
        "P01, P02 and P03 can use only 5800 MHz, and the day has two heats.",
        "P02 and P03 can use only 5800 MHz, and the day has one heat.",
    ]


def test_sizes_that_cannot_be_decided_have_the_worst_grade(monkeypatch):
    monkeypatch.setattr(planner, "why_not", undecided)
    (row,) = how_many_can_fly(day_of(3), minutes_a_heat=5)
    assert (row.worst_margin_db, row.worst_grade) == (None, 1.0)
    assert row.why_not.startswith("Whether the hard rules can hold was not decided within the search limit: ")


def test_the_table_can_be_cancelled():
    with pytest.raises(Cancelled):
        how_many_can_fly(day_of(9), 5, lambda _progress: False)


# Counting


def heats_of(*heats):
    return [
        Heat(number, 1, tuple(Slot(name, mhz, 25.0) for name, mhz in heat.items()), None, None, False)
        for number, heat in enumerate(heats, start=1)
    ]


def test_every_meeting_after_the_first_is_a_repeat():
    assert repeat_pairings(heats_of({"a": 1, "b": 2}, {"b": 2, "a": 1}, {"a": 1, "b": 2, "c": 3})) == 2
    assert repeat_pairings(heats_of({"a": 1, "b": 2, "c": 3}, {"a": 1, "d": 4})) == 0
    assert repeat_pairings([]) == 0


def test_every_change_of_channel_from_one_heat_to_the_next_is_a_retune():
    assert retunes(heats_of({"a": 1, "b": 2}, {"a": 3, "b": 2}, {"a": 1})) == 2
    assert retunes(heats_of({"a": 1}, {"b": 2}, {"a": 1, "b": 3})) == 1


def test_moves_are_pilots_whose_gear_is_set_otherwise():
    pilots = tuple(Pilot(name, (1, 2), current_mhz=mhz) for name, mhz in (("a", 1), ("b", 2), ("c", None)))
    assert moved_pilots(DayProblem(pilots), {0: 1, 1: 1, 2: 1}) == 1
    assert moved_pilots(DayProblem(pilots), {0: 2, 1: 1}) == 2
    assert moved_pilots(DayProblem(pilots), {}) == 0


def test_a_day_all_on_one_channel_has_no_retunes_but_counts_its_moves():
    best = plan_day(day_of(4, aircraft=4))
    set_to = {slot.callsign: slot.mhz for slot in best.heats[0].slots}
    wrong = tuple(
        replace(pilot, current_mhz=None if pilot.callsign == "P00" else set_to[pilot.callsign])
        for pilot in equal_pilots(4)
    )
    assert plan_day(DayProblem(wrong, aircraft=4, time_limit_s=None)).moves == 0
    one = plan_day(DayProblem((Pilot("Wren", (5800,), current_mhz=5658),), one_heat=True, time_limit_s=None))
    assert (one.moves, one.retunes) == (1, 0)
