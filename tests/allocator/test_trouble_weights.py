"""What makes a cause likely, worked by hand: rate times chances, forms that are one cause, bits of a test."""

import itertools
import math
import random

import pytest

from server.allocator import trouble_choice
from server.allocator.advice import Seat
from server.allocator.problem import DayProblem, Pilot
from server.allocator.trouble import Case, Form, Report, _weight, case_of, rank, ranked, weights
from server.allocator.trouble_air import Air, Flier
from server.allocator.trouble_choice import _bits, _entropy, worth_doing
from server.allocator.trouble_effects import Suspicion, suspicions
from server.allocator.trouble_receiver import TroubledReceiver
from server.allocator.trouble_signs import SYMPTOMS, Effect
from server.allocator.trouble_tests import NOT_TOLD, YES, SafeTest, outcome_chances, safe_tests

ALONE = ("Wren",)


def suspicion(who=("Coot",), everybody_db=(-6.0,), kind="pits", **how):
    effect = {"alone_db": -6.0, "usual_db": 4.0, "margin_db": -6.0, "character": "noise", "moves": False}
    return Suspicion(kind, who, 5695, 0.1, Effect(**{**effect, **how}), everybody_db, None)


def weighed(one, names=ALONE, **report):
    return _weight(one, Report(**{"callsign": "Wren", "symptom": "lines", **report}), names)


class TestWeight:
    # Half notice -6 dB; noise that marks a picture is told as lines 20 times in 100.
    PLAIN = 0.1 * 0.5 * 0.20

    def test_rate_times_notice_times_word(self):
        assert weighed(suspicion()) == pytest.approx(self.PLAIN)
        assert weighed(suspicion(), symptom="snow far out") == pytest.approx(0.1 * 0.5 * 0.76)

    def test_onset_and_who_is_near_are_further_chances(self):
        assert weighed(suspicion(), onset="suddenly") == pytest.approx(0.75 * self.PLAIN)
        names = ("Wren", "Otter", "Rook")
        clear = suspicion(everybody_db=(-6.0, 300.0, 300.0))
        assert weighed(clear, names, near="Otter") == pytest.approx(self.PLAIN * 0.98**2 / 2)

    def test_a_cause_is_blamed_by_its_part_of_the_whole(self):
        # Ten dB less than all together: a tenth; never more than the whole.
        assert weighed(suspicion(alone_db=4.0)) == pytest.approx(0.1 * self.PLAIN)
        assert weighed(suspicion(alone_db=-7.0)) == pytest.approx(self.PLAIN)

    def test_others_speak_up_or_do_not(self):
        names = ("Otter", "Wren", "Rook")
        spoilt = suspicion(everybody_db=(-300.0, -6.0, 300.0))
        assert weighed(spoilt, names) == pytest.approx(self.PLAIN * 0.48 * 0.98)
        assert weighed(spoilt, names, also=frozenset({"Otter"})) == pytest.approx(self.PLAIN * 0.52 * 0.98)
        assert weighed(spoilt, names, also=frozenset({"Rook"})) == pytest.approx(self.PLAIN * 0.48 * 0.02)

    def test_whoever_flies_is_named_when_near_but_the_pilot_cannot_be(self):
        names, clear = ("Wren", "Otter", "Rook"), (-6.0, 300.0, 300.0)
        theirs = suspicion(("Otter",), clear, "carrier", character="beat", moves=True)
        named, other = (weighed(theirs, names, near=name) for name in ("Otter", "Rook"))
        assert named / other == pytest.approx(0.8 / 0.2)
        own = suspicion(("Wren",), clear, "link", character="beat", moves=True)
        assert weighed(own, names, near="Otter") == pytest.approx(weighed(own, names) / 2)


class TestCase:
    AIR = Air(
        DayProblem(()),
        tuple(
            Flier(Seat(Pilot(name, (5658, 5695, 5705, 5720), power_steps_mw=(25.0, 200.0)), mhz, 25.0))
            for name, mhz in (("Wren", 5695), ("Otter", 5720), ("Rook", 5806))
        ),
    )

    def test_forms_and_something_else_are_one_whole_but_for_what_is_forgotten(self):
        report = Report("Wren", "lines")
        found = case_of(self.AIR, report)
        heard = TroubledReceiver(self.AIR, 0)
        by_form = {
            (one.kind, one.who, one.mhz, one.effect.margin_db): _weight(
                one, report, ["Wren", "Otter", "Rook"]
            )
            for one in suspicions(heard)
        }
        # Something else happens twice in a thousand heats, in each of the five ways alike.
        total = sum(_weight(one, report, ["Wren", "Otter", "Rook"]) for one in suspicions(heard)) + 0.002 / 5
        assert found.something_else == pytest.approx(0.0004 / total)
        assert found.tests == safe_tests(heard)
        kept = [
            one
            for one in suspicions(heard)
            if _weight(one, report, ["Wren", "Otter", "Rook"]) / total >= 1e-4
        ]
        assert 0 < len(kept) == len(found.forms) < len(by_form) + 3
        for one, form_of in zip(kept, found.forms, strict=True):
            told = (form_of.kind, form_of.who, form_of.mhz, form_of.margin_db)
            assert told == (one.kind, one.who, one.mhz, one.effect.margin_db)
            assert form_of.chances == outcome_chances(heard, one, found.tests)
            assert form_of.weight >= 1e-4

    def test_a_report_alone_ranks_as_no_tests_do(self):
        report = Report("Wren", "snow far out")
        assert rank(self.AIR, report) == ranked(case_of(self.AIR, report), {})


def form(kind, who, weight, mhz=None, margin_db=-10.0, chances=()):
    return Form(kind, who, mhz, margin_db, weight, chances)


def causes(*forms):
    return [(one.kind, one.who, one.mhz, round(one.chance, 6)) for one in ranked(Case(forms, (), 0.0), {})]


class TestOneCause:
    def test_everybody_in_the_pits_is_one_and_the_likeliest_comes_first_by_name_if_alike(self):
        found = causes(
            form("pits", ("Rook",), 0.25, 5658),
            form("pits", ("Coot",), 0.25, 5658),
            form("pits", ("Quill",), 0.2, 5732),
            form("pits", ("Quill",), 0.3, 5695),
        )
        assert found == [("pits", ("Quill", "Coot", "Rook"), 5695, 1.0)]

    def test_products_are_one_and_named_by_the_likeliest(self):
        found = causes(form("product", ("Otter", "Rook"), 0.3), form("product", ("Coot", "Otter"), 0.7))
        assert found == [("product", ("Coot", "Otter"), None, 1.0)]

    def test_the_pits_and_products_are_two(self):
        found = causes(form("pits", ("Coot",), 0.6, 5695), form("product", ("Otter", "Rook"), 0.4))
        assert [one[0] for one in found] == ["pits", "product"]

    def test_outside_signals_are_told_apart_by_their_middle_and_pilots_by_name(self):
        found = causes(
            form("outside", ("a",), 0.3, 5695),
            form("outside", ("b",), 0.2, 5695),
            form("outside", ("a",), 0.15, 5700),
            form("carrier", ("Otter",), 0.1, 5732),
            form("carrier", ("Rook",), 0.25, 5806),
        )
        assert found == [
            ("outside", ("a",), 5695, 0.5),
            ("carrier", ("Rook",), 5806, 0.25),
            ("outside", ("a",), 5700, 0.15),
            ("carrier", ("Otter",), 5732, 0.1),
        ]

    def test_as_likely_ones_come_by_kind_and_name(self):
        found = causes(
            form("link", ("Wren",), 0.25),
            form("carrier", ("Rook",), 0.25),
            form("carrier", ("Otter",), 0.25),
            form("down", ("Heron",), 0.25),
        )
        assert [one[:2] for one in found] == [
            ("carrier", ("Otter",)),
            ("carrier", ("Rook",)),
            ("down", ("Heron",)),
            ("link", ("Wren",)),
        ]

    def test_a_cause_of_five_in_a_thousand_is_listed_and_one_below_is_not(self):
        found = causes(
            form("link", ("Wren",), 0.9901),
            form("carrier", ("Otter",), 0.005),
            form("down", ("Coot",), 0.0049),
        )
        assert [one[0] for one in found] == ["link", "carrier"]

    def test_the_margin_is_that_of_the_likeliest_form(self):
        (one,) = ranked(
            Case((form("link", ("Wren",), 0.4, margin_db=-9.0), form("link", ("Wren",), 0.6)), (), 0.0), {}
        )
        assert one.margin_db == -10.0


def random_case(seed):
    """Forms of three causes and something else, for a test of two outcomes and a test of several."""
    dice = random.Random(seed)
    tests = (SafeTest("pits"), SafeTest("who far", ("Otter", "Rook")))

    def chances(count):
        drawn = [dice.random() for _ in range(count)]
        return tuple(one / sum(drawn) for one in drawn)

    whole = chances(5)
    kinds = [("pits", ("Coot",)), ("pits", ("Quill",)), ("link", ("Wren",)), ("carrier", ("Otter",))]
    forms = tuple(
        form(kind, who, weight, chances=(chances(2), chances(3)))
        for (kind, who), weight in zip(kinds, whole[:4], strict=True)
    )
    return Case(forms, tests, whole[4])


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("number", [0, 1])
def test_bits_are_the_mutual_information_of_cause_and_outcome(seed, number):
    case = random_case(seed)
    count = len(case.tests[number].outcomes)
    joint = {}
    for one, outcome in itertools.product(case.forms, range(count)):
        key = (one.kind if one.kind == "pits" else one.who, outcome)
        joint[key] = joint.get(key, 0.0) + one.weight * one.chances[number][outcome]
    joint |= {("else", outcome): case.something_else / count for outcome in range(count)}
    of_cause, of_outcome = {}, {}
    for (cause, outcome), chance in joint.items():
        of_cause[cause] = of_cause.get(cause, 0.0) + chance
        of_outcome[outcome] = of_outcome.get(outcome, 0.0) + chance
    wanted = sum(
        chance * math.log2(chance / of_cause[cause] / of_outcome[outcome])
        for (cause, outcome), chance in joint.items()
    )
    chances, something_else = weights(case, {})
    assert _bits(case, number, chances, something_else) == pytest.approx(wanted)


def test_something_else_says_nothing_of_the_outcome_of_a_test_of_several():
    found, something_else = weights(random_case(1), {"who far Otter Rook": "it is Rook"})
    forms, base = random_case(1).forms, random_case(1).something_else
    raw = [one.weight * one.chances[1][2] for one in forms]
    total = sum(raw) + base / 3
    assert something_else == pytest.approx(base / 3 / total)
    assert found == pytest.approx([one / total for one in raw])


def test_entropy_of_even_chances_is_their_bits_and_none_adds_nothing():
    assert _entropy([0.25] * 4) == pytest.approx(2.0)
    assert _entropy([0.5, 0.0, 0.5]) == pytest.approx(1.0)
    assert _entropy([1.0]) == 0.0


def test_as_good_tests_come_in_the_order_of_their_names():
    alike = (SafeTest("nearer"), SafeTest("pits"), SafeTest("landed"))
    forms = tuple(
        form(kind, (who,), 0.5, chances=((yes, 1 - yes),) * 3)
        for kind, who, yes in (("pits", "Coot", 0.99), ("link", "Wren", 0.01))
    )
    case = Case(forms, tuple(reversed(alike)), 0.0)
    assert [one.kind for one in worth_doing(case, {})] == ["nearer", "pits", "landed"]
    assert [one.kind for one in worth_doing(case, {"pits": NOT_TOLD})] == ["nearer", "landed"]
    assert worth_doing(case, {one.key: YES for one in alike}) == ()


def test_a_test_that_tells_nothing_is_not_worth_doing_even_for_no_price(monkeypatch):
    monkeypatch.setattr(trouble_choice, "PRICE", 0.0)
    sure = Case((form("link", ("Wren",), 1.0, chances=((0.5, 0.5),)),), (SafeTest("nearer"),), 0.0)
    assert worth_doing(sure, {}) == ()


def test_five_things_are_seen_and_none_twice():
    assert len(set(SYMPTOMS)) == 5
