"""Which test comes next, by worked cases of three causes."""

import math

import pytest

from server.allocator.trouble import LEAST_CHANCE, Case, Cause, Form, ranked, weights
from server.allocator.trouble_choice import PRICE, is_sure, worth_doing
from server.allocator.trouble_tests import NO, NOT_TOLD, YES, SafeTest

PITS, NEARER, LANDED = SafeTest("pits"), SafeTest("nearer"), SafeTest("landed")


def form(kind, who, weight, *yes, mhz=None):
    return Form(kind, (who,), mhz, -10.0, weight, tuple((one, 1.0 - one) for one in yes))


def case(*forms, tests=(PITS, NEARER), something_else=0.0):
    return Case(forms, tests, something_else)


TWO = case(form("pits", "Coot", 0.5, 0.9, 0.5), form("link", "Wren", 0.5, 0.1, 0.5))


class TestWeighing:
    def test_an_outcome_counts_by_its_chances(self):
        assert weights(TWO, {"pits": YES})[0] == pytest.approx([0.9, 0.1])
        assert weights(TWO, {"pits": NO})[0] == pytest.approx([0.1, 0.9])
        assert ranked(TWO, {"pits": NO})[0].kind == "link"

    def test_two_outcomes_count_both(self):
        both = case(form("pits", "Coot", 0.5, 0.9, 0.8), form("link", "Wren", 0.5, 0.1, 0.2))
        assert weights(both, {"pits": YES, "nearer": NO})[0] == pytest.approx([0.18 / 0.26, 0.08 / 0.26])

    def test_what_could_not_be_told_changes_nothing(self):
        assert weights(TWO, {"pits": NOT_TOLD})[0] == pytest.approx([0.5, 0.5])

    def test_of_something_else_no_test_tells_anything(self):
        unknown = case(form("pits", "Coot", 0.5, 0.9), tests=(PITS,), something_else=0.5)
        found, something_else = weights(unknown, {"pits": YES})
        assert (found[0], something_else) == pytest.approx((0.45 / 0.7, 0.25 / 0.7))

    def test_forms_of_one_cause_are_one_and_the_likeliest_gives_its_name(self):
        pits = case(
            form("pits", "Coot", 0.3, 0.9, mhz=5658),
            form("pits", "Rook", 0.4, 0.9, mhz=5695),
            form("link", "Wren", 0.3, 0.1),
            tests=(PITS,),
        )
        first, second = ranked(pits, {})
        assert (first.kind, first.who, first.mhz) == ("pits", ("Rook", "Coot"), 5695)
        assert first.chance == pytest.approx(0.7)
        assert second.kind == "link"

    def test_a_cause_that_is_ruled_out_is_not_listed(self):
        out = case(form("pits", "Coot", 0.5, 0.001), form("link", "Wren", 0.5, 0.999), tests=(PITS,))
        assert [one.kind for one in ranked(out, {"pits": YES})] == ["link"]
        assert LEAST_CHANCE == 0.005


class TestChoice:
    def test_the_test_that_tells_most_comes_first_and_one_that_tells_nothing_does_not(self):
        assert worth_doing(TWO, {}) == (PITS,)

    def test_a_test_that_was_done_is_not_proposed_again_whatever_it_showed(self):
        for outcome in (YES, NO, NOT_TOLD):
            assert worth_doing(TWO, {"pits": outcome}) == ()

    def test_of_two_that_tell_as_much_the_quicker_comes_first(self):
        alike = case(
            form("pits", "Coot", 0.5, 0.9, 0.9), form("link", "Wren", 0.5, 0.1, 0.1), tests=(LANDED, NEARER)
        )
        assert worth_doing(alike, {}) == (NEARER, LANDED)

    def test_a_test_has_to_be_worth_its_time(self):
        # A test that is right p of the time tells 1 - H(p) bits of two even causes; three minutes cost 0.36.
        def told(right):
            return 1 + right * math.log2(right) + (1 - right) * math.log2(1 - right)

        assert pytest.approx(0.36) == PRICE * LANDED.seconds
        for right in (0.8, 0.9):
            even = case(
                form("pits", "Coot", 0.5, right), form("link", "Wren", 0.5, 1 - right), tests=(LANDED,)
            )
            assert bool(worth_doing(even, {})) == (told(right) > 0.36)

    def test_who_of_the_pits_it_is_is_worth_nothing(self):
        names = case(form("pits", "Coot", 0.5, 0.9), form("pits", "Rook", 0.5, 0.1), tests=(PITS,))
        assert worth_doing(names, {}) == ()

    def test_a_cause_is_sure_enough_from_85_in_100(self):
        def causes(chance):
            return (Cause("pits", ("Coot",), None, -10.0, chance),)

        assert is_sure(causes(0.85))
        assert not is_sure(causes(0.849))
        assert not is_sure(())
