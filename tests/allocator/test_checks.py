"""The judge of plans: every kind of fault, planted one at a time, is found and named; sound plans pass."""

from dataclasses import replace

import pytest

from server.allocator.checks import broken_rules, faults_of, heat_faults
from server.allocator.plan import DayPlan, Heat, Slot
from server.allocator.problem import DayProblem, Pilot
from server.radio.interference import Station, heat_margins

WIDE = (5658, 5695, 5732, 5769, 5806, 5843, 5880, 5917)


def heat_of(number, round_number, *slots, day=None):
    """A heat with true margins."""
    day = day or DayProblem(())
    gear = {pilot.callsign: pilot for pilot in day.pilots}
    stations = [
        Station(
            name,
            mhz,
            power,
            **{
                one: getattr(gear[name], one) for one in ("antenna", "rx_antenna", "gain_dbi") if name in gear
            },
        )
        for name, mhz, power in slots
    ]
    margins = heat_margins(stations, day.site)
    return Heat(
        number,
        round_number,
        tuple(Slot(*slot) for slot in slots),
        margins.worst_margin_db,
        margins.stressed_margin_db,
        False,
    )


def plan_of(*heats):
    worst = min((heat.worst_margin_db for heat in heats if heat.worst_margin_db is not None), default=None)
    return DayPlan("feasible", heats, worst, bound_db=worst)


def day_with(**rules):
    """Four pilots; rules by callsign."""
    pilots = tuple(Pilot(name, WIDE, **rules.pop(name, {})) for name in ("Wren", "Rook", "Coot", "Otter"))
    return DayProblem(pilots, **{"aircraft": 2, **rules})


WREN, ROOK, COOT, OTTER = (
    ("Wren", 5658, 25.0),
    ("Rook", 5732, 25.0),
    ("Coot", 5806, 25.0),
    ("Otter", 5880, 25.0),
)


def sound_plan(day=None):
    return plan_of(heat_of(1, 1, WREN, ROOK, day=day), heat_of(2, 1, COOT, OTTER, day=day))


def test_a_sound_plan_has_no_fault():
    assert faults_of(sound_plan(), day_with()) == ()


def test_a_plan_without_heats_has_no_fault():
    assert faults_of(DayPlan("infeasible"), day_with()) == ()


@pytest.mark.parametrize(
    ("rules", "fault"),
    [
        ({"Rook": {"pin_mhz": (5695,)}}, "Heat 1: Rook is pinned to another channel than 5732 MHz"),
        ({"bans_mhz": (5732,)}, "Heat 1: 5732 MHz is out of use today"),
        ({"Rook": {"apart": frozenset({"Wren"})}}, "Heat 1: Rook and Wren must not share a heat"),
        ({"Otter": {"spotter": "Coot"}}, "Heat 2: Otter and Coot must not share a heat"),
        ({"Wren": {"after": 1}}, "Heat 1: Wren flies only after heat 1"),
        ({"Otter": {"before": 2}}, "Heat 2: Otter flies only before heat 2"),
        ({"Otter": {"heat": 1}}, "Heat 1: Otter is missing"),
        ({"Wren": {"together": frozenset({"Coot"})}}, "Round 1: Wren and Coot fly in different heats"),
        (
            {"minimum_spacing_mhz": 75},
            "Heat 1: Wren and Rook are 74 MHz apart, less than 75",
        ),
        ({"aircraft": 1}, "Heat 1: 2 fly at once, more than 1"),
    ],
    ids=["pin", "ban", "apart", "spotter", "after", "before", "heat", "together", "spacing", "capacity"],
)
def test_a_rule_that_is_broken_is_named(rules, fault):
    assert fault in faults_of(sound_plan(), day_with(**rules))


@pytest.mark.parametrize(
    "rules",
    [
        {"Rook": {"pin_mhz": (5732, 5695)}},
        {"bans_mhz": (5695,)},
        {"Rook": {"apart": frozenset({"Coot", "Teasel", "Rook"})}},
        {"Otter": {"spotter": "Wren"}},
        {"Wren": {"spotter": "Wren"}},
        {"Otter": {"after": 1}},
        {"Wren": {"before": 2}},
        {"Otter": {"heat": 2}},
        {"Otter": {"heat": 3}},  # a heat of a round that is not flown
        {"Wren": {"together": frozenset({"Rook", "Teasel"})}},
        {"minimum_spacing_mhz": 74},
        {"aircraft": 2},
    ],
)
def test_a_rule_that_holds_is_no_fault(rules):
    assert faults_of(sound_plan(), day_with(**rules)) == ()


def test_a_channel_that_the_gear_does_not_have_is_named():
    day = day_with()
    plan = plan_of(heat_of(1, 1, ("Wren", 5700, 25.0), ROOK), heat_of(2, 1, COOT, OTTER))
    assert faults_of(plan, day) == ("Heat 1: Wren cannot use 5700 MHz",)


def test_a_stranger_is_named_and_the_others_are_judged_all_the_same():
    plan = plan_of(heat_of(1, 1, ("Teasel", 5700, 25.0), ROOK), heat_of(2, 1, COOT, OTTER))
    day = day_with(bans_mhz=(5732,))
    assert set(faults_of(plan, day)) == {
        "Heat 1: Teasel is not in the roster",
        "Round 1: Wren does not fly",
        "Heat 1: 5732 MHz is out of use today",
    }


def test_every_close_pair_of_a_heat_is_named():
    heat = heat_of(7, 1, WREN, ("Rook", 5660, 25.0), ("Coot", 5670, 25.0))
    day = DayProblem(tuple(Pilot(name, (5658, 5660, 5670)) for name in ("Wren", "Rook", "Coot")), aircraft=3)
    assert heat_faults(heat, day) == [
        "Heat 7: Wren and Rook are 2 MHz apart, less than 20",
        "Heat 7: Wren and Coot are 12 MHz apart, less than 20",
        "Heat 7: Rook and Coot are 10 MHz apart, less than 20",
    ]


def test_who_does_not_fly_once_a_round_is_named():
    twice = plan_of(heat_of(1, 1, WREN, ROOK), heat_of(2, 1, COOT, OTTER), heat_of(3, 1, WREN))
    assert faults_of(twice, day_with()) == ("Round 1: Wren flies twice",)
    never = plan_of(heat_of(1, 1, WREN, ROOK), heat_of(2, 1, COOT))
    assert faults_of(never, day_with()) == ("Round 1: Otter does not fly",)


def test_every_round_is_judged_by_itself():
    second = [heat_of(3, 2, WREN, COOT), heat_of(4, 2, ROOK)]
    plan = plan_of(*sound_plan().heats, *second)
    assert faults_of(plan, day_with()) == ("Round 2: Otter does not fly",)
    day = day_with(Wren={"together": frozenset({"Rook"})}, Otter={"before": 3})
    assert faults_of(plan, day) == ("Round 2: Wren and Rook fly in different heats",)


def test_two_alone_in_a_round_who_belong_together_are_judged_too():
    day = DayProblem((Pilot("Wren", WIDE, together=frozenset({"Rook"})), Pilot("Rook", WIDE)), aircraft=1)
    faults = faults_of(plan_of(heat_of(1, 1, WREN), heat_of(2, 1, ROOK)), day)
    assert faults == ("Round 1: Wren and Rook fly in different heats",)


def test_who_is_not_there_need_not_fly():
    plan = plan_of(heat_of(1, 1, WREN, ROOK), heat_of(2, 1, COOT))
    assert faults_of(plan, day_with(Otter={"after": 2})) == ()
    assert faults_of(plan, day_with(Otter={"before": 1})) == ()
    assert faults_of(plan, day_with(Otter={"before": 2})) == ("Round 1: Otter does not fly",)
    assert faults_of(plan, day_with(Otter={"after": 1})) == ("Round 1: Otter does not fly",)


def test_who_is_not_there_is_not_missing_from_a_heat_that_was_set():
    plan = plan_of(heat_of(1, 1, WREN, ROOK), heat_of(2, 1, COOT))
    assert faults_of(plan, day_with(Otter={"after": 2, "heat": 2})) == ()


def test_a_channel_that_changes_between_heats_is_named():
    second = [heat_of(3, 2, ("Wren", 5695, 25.0), COOT), heat_of(4, 2, ROOK, OTTER)]
    plan = plan_of(*sound_plan().heats, *second)
    assert faults_of(plan, day_with()) == ("Wren changes channel between heats: 5658, 5695 MHz",)


def test_given_heats_may_be_of_any_size_and_order_but_keep_the_rules_of_channels():
    heats = [heat_of(1, 1, WREN, ROOK, COOT), heat_of(2, 2, WREN, OTTER)]
    names = (("Wren", "Rook", "Coot"), ("Wren", "Otter"))
    free = {
        "heats_given": names,
        "Wren": {"after": 1, "together": frozenset({"Rook"})},
        "Otter": {"heat": 1, "before": 1},
    }
    assert faults_of(plan_of(*heats), day_with(**free)) == ()
    bound = {**free, "Coot": {"apart": frozenset({"Wren"})}, "bans_mhz": (5880,)}
    assert faults_of(plan_of(*heats), day_with(**bound)) == (
        "Heat 1: Coot and Wren must not share a heat",
        "Heat 2: 5880 MHz is out of use today",
    )


def test_one_heat_may_hold_everybody():
    heat = heat_of(1, 1, WREN, ROOK, COOT, OTTER)
    assert faults_of(plan_of(heat), day_with(one_heat=True)) == ()
    assert faults_of(plan_of(heat), day_with(aircraft=3)) == ("Heat 1: 4 fly at once, more than 3",)


@pytest.mark.parametrize("name", ["worst_margin_db", "stressed_margin_db"])
@pytest.mark.parametrize("error_db", [-0.02, 0.02])
def test_a_margin_that_is_not_that_of_the_model_is_named(name, error_db):
    heats = list(sound_plan().heats)
    heats[1] = replace(heats[1], **{name: getattr(heats[1], name) + error_db})
    faults = faults_of(plan_of(*heats), day_with())
    what = {"worst_margin_db": "worst margin", "stressed_margin_db": "stressed margin"}[name]
    assert len(faults) == 1
    assert faults[0].startswith(f"Heat 2: the {what} is ")


def test_a_margin_within_a_hundredth_is_the_same():
    heats = [
        replace(
            heat,
            worst_margin_db=heat.worst_margin_db + 0.009,
            stressed_margin_db=heat.stressed_margin_db - 0.009,
        )
        for heat in sound_plan().heats
    ]
    assert faults_of(plan_of(*heats), day_with()) == ()


def test_a_margin_claimed_for_a_pilot_alone_and_one_left_out_are_named():
    alone = heat_of(3, 2, WREN)
    plan = plan_of(replace(alone, worst_margin_db=20.0))
    assert "Heat 3: the worst margin is None dB, not 20.0 dB" in faults_of(plan, day_with())
    silent = replace(heat_of(1, 1, WREN, ROOK), stressed_margin_db=None)
    assert any("the stressed margin is" in fault for fault in faults_of(plan_of(silent), day_with()))


def test_power_antennas_and_gain_count_in_the_margins():
    day = day_with(Rook={"antenna": "lhcp", "rx_antenna": "linear", "gain_dbi": 2.0})
    assert faults_of(sound_plan(day), day) == ()
    assert len(faults_of(sound_plan(), day)) == 2  # margins of other gear
    heats = sound_plan().heats
    slots = (replace(heats[0].slots[0], power_mw=200.0), heats[0].slots[1])
    louder = replace(heats[0], slots=slots)
    assert len(faults_of(plan_of(louder, heats[1]), day_with())) == 2


def test_the_plan_claims_the_margin_of_its_worst_heat():
    plan = sound_plan()
    assert faults_of(replace(plan, worst_margin_db=plan.worst_margin_db - 0.02), day_with()) == (
        "the plan's worst margin is not that of its worst heat",
    )
    assert "the plan's worst margin is not that of its worst heat" in faults_of(
        replace(plan, worst_margin_db=None), day_with()
    )


def test_a_margin_above_its_bound_is_a_fault():
    plan = sound_plan()
    low = replace(plan, bound_db=plan.worst_margin_db - 0.02)
    assert faults_of(low, day_with()) == ("the worst margin is above its bound",)
    assert faults_of(replace(plan, bound_db=plan.worst_margin_db - 0.009), day_with()) == ()
    assert faults_of(replace(plan, bound_db=None), day_with()) == ()
    alone = plan_of(heat_of(1, 1, WREN))
    day = DayProblem((Pilot("Wren", WIDE),))
    assert faults_of(alone, day) == ()
    assert faults_of(replace(alone, bound_db=8.0), day) == ("the worst margin is above its bound",)
    assert faults_of(replace(plan, bound_db=plan.worst_margin_db + 3.0), day_with()) == ()


class TestWithFlownHeats:
    """Rook and Wren flew heat 1 of round 1; Coot and Otter are ahead in heat 2, then round 2."""

    def rest(self, *round_2, second=(COOT, OTTER)):
        return plan_of(heat_of(1, 1, WREN, ROOK), heat_of(2, 1, *second), *round_2)

    def sound(self):
        return self.rest(heat_of(3, 2, WREN, ROOK), heat_of(4, 2, COOT, OTTER))

    def test_what_was_flown_breaks_no_rule_any_more(self):
        day = day_with(Wren={"apart": frozenset({"Rook"})}, bans_mhz=(5658,))
        late = self.rest(second=(COOT, OTTER))
        assert broken_rules(late, day, 1) == []
        assert broken_rules(late, day, 0) != []

    def test_what_is_ahead_does(self):
        day = day_with(Coot={"apart": frozenset({"Otter"})})
        assert any(
            "Heat 2: Coot and Otter must not share" in fault for fault in broken_rules(self.sound(), day, 1)
        )
        assert not any("Heat 2" in fault for fault in broken_rules(self.sound(), day, 2))

    def test_a_round_that_has_begun_may_be_missed_but_not_flown_twice(self):
        day = day_with()
        assert broken_rules(self.rest(second=(COOT,)), day, 1) == []
        assert broken_rules(self.rest(second=(COOT, WREN)), day, 1) == ["Round 1: Wren flies twice"]

    def test_a_round_ahead_is_flown_once_by_everybody(self):
        found = broken_rules(self.rest(heat_of(3, 2, WREN, ROOK), heat_of(4, 2, COOT)), day_with(), 1)
        assert found == ["Round 2: Otter does not fly"]

    def test_a_channel_may_change_after_what_was_flown(self):
        retuned = ("Wren", 5843, 25.0)
        plan = self.rest(heat_of(3, 2, retuned, ROOK), heat_of(4, 2, COOT, OTTER))
        assert broken_rules(plan, day_with(), 1) == []
        assert broken_rules(plan, day_with(), 0) == ["Wren changes channel between heats: 5658, 5843 MHz"]

    def test_retunes_that_were_flown_are_claimed_rightly_and_more_are_not(self):
        retuned = ("Wren", 5843, 25.0)
        plan = self.rest(heat_of(3, 2, retuned, ROOK), heat_of(4, 2, COOT, OTTER))
        assert broken_rules(replace(plan, retunes=1), day_with(), 1) == []
        again = replace(plan, heats=(*plan.heats, heat_of(5, 3, WREN, ROOK), heat_of(6, 3, retuned, OTTER)))
        assert any("claims 1" in fault for fault in broken_rules(replace(again, retunes=1), day_with(), 1))

    def test_a_heat_that_was_set_is_asked_for_only_ahead(self):
        day = day_with(Otter={"heat": 1})
        assert broken_rules(self.sound(), day, 1) == []
        assert broken_rules(self.sound(), day, 0) == ["Heat 1: Otter is missing"]

    def test_those_who_belong_together_are_judged_ahead(self):
        day = day_with(Wren={"together": frozenset({"Coot"})})
        assert broken_rules(self.sound(), day, 1) == ["Round 2: Wren and Coot fly in different heats"]
