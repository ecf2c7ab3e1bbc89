"""Channels that are set already, step by step: how few moves are looked for, and what a round with few is."""

import numpy as np
import pytest

from server.allocator import anneal
from server.allocator.round_search import RoundPlan
from tests.allocator.test_day_details import Ladder, four_set_to, mhz_of, round_of, rung


@pytest.mark.parametrize(
    ("margins_db", "kept", "enough_db", "moves"),
    [
        ([1.0, 4.0], 0, 4.0, 1),
        ([1.0, 4.0], 0, 4.1, None),
        ([1.0, 4.0], 1, 4.0, None),  # no fewer moves than the best has
        ([1.0, 2.0, 4.0], 0, 4.0, 2),
        ([1.0, 2.0, None, 4.0], 0, 4.0, 3),
        ([1.0, 2.0, 3.0, 4.0, 5.0], 1, 4.0, 3),
        ([1.0, 2.0, 3.0, 9.0, 5.0], 0, 9.0, 3),  # better than the free round: found by halving
    ],
)
def test_a_change_is_the_smallest_that_reaches_a_margin(margins_db, kept, enough_db, moves):
    ladder = Ladder(margins_db)
    best = ladder._smallest_change(rung(kept), rung(len(margins_db) - 1), enough_db)
    assert (None if best is None else best.channel[0]) == moves


def test_a_round_with_few_moves_is_walked_from_the_free_one_as_hot_as_any(monkeypatch):
    search = four_set_to(5658, 5732, 5806, 5880)
    walked = []

    def walk(rules, start, hottest_db):
        walked.append((rules.most_changes, hottest_db, mhz_of(search, start)))
        return start

    monkeypatch.setattr(search, "_improve", walk)
    free = round_of(search, [0] * 4, [5695, 5740, 5845, 5917])
    before = free.channel.copy()
    assert search._with_at_most(2, free) is not None
    assert walked == [(2, anneal.HOTTEST_DB, [5695, 5740, 5806, 5880])]
    assert (free.channel == before).all()


def test_a_round_that_is_not_sound_is_none(monkeypatch):
    search = four_set_to(5658, 5732, 5806, 5880)
    close = round_of(search, [0] * 4, [5658, 5665, 5806, 5880])
    monkeypatch.setattr(search, "_improve", lambda _rules, _start, _hottest: close)
    assert search._with_at_most(4, close) is None


def test_a_free_round_in_which_nothing_interferes_is_worth_any_price(monkeypatch):
    kept, moves, notes = Ladder([1.0, np.inf])._kept_channels(rung(1))
    assert (kept.channel[0], moves, notes) == (1, 1, ())


def test_where_no_smaller_change_helps_the_channels_stay(monkeypatch):
    ladder = Ladder([1.0, 1.0, 4.0])
    monkeypatch.setattr(ladder, "_smallest_change", lambda *_given: None)
    kept, moves, notes = ladder._kept_channels(rung(2))
    assert (kept.channel[0], moves) == (0, 0)
    assert notes == (
        "Channels already set were kept: moving 2 pilots instead of 0 would lift the worst margin by 3.0 dB, "
        "less than the 3 dB that moving one must bring.",
    )


def test_each_step_must_bring_the_price_above_the_one_before(monkeypatch):
    ladder = Ladder([1.0, 2.0, 5.0, 9.0], price_db=2.0)
    asked = []
    steps = iter([rung(2), rung(3)])
    monkeypatch.setattr(
        ladder,
        "_smallest_change",
        lambda kept, _free, enough_db: asked.append((kept.channel[0], enough_db)) or next(steps),
    )
    assert ladder._kept_channels(rung(3))[1] == 3
    assert asked == [(0, 3.0), (2, 7.0)]


def test_a_round_that_is_kept_is_never_told_as_worse_than_the_free_one():
    # Without moves the heats are even better.
    assert Ladder([5.0, 4.0])._kept_channels(RoundPlan(np.array([0, 0]), np.array([1, 0])))[2] == ()


def test_a_twentieth_of_a_decibel_is_not_told():
    assert Ladder([0.0, 0.0, 0.05])._kept_channels(rung(2))[1:] == (0, ())
