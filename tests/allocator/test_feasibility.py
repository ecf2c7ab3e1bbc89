"""Whether hard rules can hold: every answer against an enumeration of all of them."""

import itertools
import random

import numpy as np
import pytest

from server.allocator.feasibility import (
    RoundRules,
    UndecidedError,
    find_round,
    lasting_channels,
    spaced_channels,
)


def is_spaced(mhz, spacing_mhz):
    return all(abs(a - b) >= spacing_mhz for a, b in itertools.combinations(mhz, 2))


def can_be_spaced(choices, spacing_mhz):
    return any(
        is_spaced(mhz, spacing_mhz) for mhz in itertools.product(*(own for own in choices if own is not None))
    )


@pytest.mark.parametrize("seed", range(200))
def test_spaced_channels_are_found_just_where_there_are_any(seed):
    dice = random.Random(seed)
    choices = [
        None if dice.random() < 0.1 else tuple(sorted(dice.sample(range(20), dice.randint(1, 4))))
        for _ in range(dice.randint(1, 5))
    ]
    spacing = dice.randint(0, 6)
    found = spaced_channels(choices, spacing)
    assert (found is not None) == can_be_spaced(choices, spacing)
    if found is not None:
        assert [mhz is None for mhz in found] == [own is None for own in choices]
        assert all(own is None or mhz in own for mhz, own in zip(found, choices, strict=True))
        assert is_spaced([mhz for mhz in found if mhz is not None], spacing)


def test_channels_exactly_the_spacing_apart_are_far_enough():
    assert spaced_channels([(5700,), (5720,)], 20) == [5700, 5720]
    assert spaced_channels([(5700,), (5720,)], 21) is None


def test_equal_pilots_may_share_a_frequency_only_without_spacing():
    assert spaced_channels([(5700,), (5700,)], 0) == [5700, 5700]
    assert spaced_channels([(5700,), (5700,)], 1) is None


def test_a_pilot_without_channels_fits_nowhere_and_one_who_does_not_matter_everywhere():
    assert spaced_channels([(), (5700,)], 20) is None
    assert spaced_channels([None, (5700,), None], 20) == [None, 5700, None]
    assert spaced_channels([], 20) == []


def can_last(choices, heats, spacing_mhz):
    return any(
        all(is_spaced([mhz[pilot] for pilot in heat], spacing_mhz) for heat in heats)
        for mhz in itertools.product(*choices)
    )


@pytest.mark.parametrize("seed", range(120))
def test_lasting_channels_are_found_just_where_there_are_any(seed):
    dice = random.Random(seed)
    count = dice.randint(2, 5)
    choices = [tuple(sorted(dice.sample(range(0, 60, 10), dice.randint(1, 3)))) for _ in range(count)]
    heats = [dice.sample(range(count), dice.randint(1, min(3, count))) for _ in range(dice.randint(1, 4))]
    found = lasting_channels(choices, heats, 20)
    assert (found is not None) == can_last(choices, heats, 20)
    if found is not None:
        assert all(mhz in own for mhz, own in zip(found, choices, strict=True))
        assert all(is_spaced([found[pilot] for pilot in heat], 20) for heat in heats)


def test_pilots_who_never_meet_may_keep_one_channel():
    assert lasting_channels([(5800,), (5800,)], [[0], [1]], 20) == [5800, 5800]
    assert lasting_channels([(5800,), (5800,)], [[0, 1]], 20) is None


def test_lasting_channels_exactly_the_spacing_apart_are_far_enough():
    assert lasting_channels([(5700,), (5720,)], [[0, 1]], 20) == [5700, 5720]
    assert lasting_channels([(5700,), (5720,)], [[0, 1]], 21) is None


def test_a_search_for_lasting_channels_says_when_it_does_not_know():
    # One placing for each pilot is needed, and no more.
    free = [(5700,)] * 3
    alone = [[0], [1], [2]]
    assert lasting_channels(free, alone, 20, node_limit=3) == [5700] * 3
    with pytest.raises(UndecidedError):
        lasting_channels(free, alone, 20, node_limit=2)


def random_rules(seed):
    """Rules of a small round: up to five pilots, up to three heats."""
    dice = random.Random(seed)
    count, heats = dice.randint(1, 5), dice.randint(1, 3)
    choices = [
        None if dice.random() < 0.1 else tuple(sorted(dice.sample(range(0, 70, 10), dice.randint(1, 3))))
        for _ in range(count)
    ]
    allowed = np.array([[dice.random() < 0.8 for _ in range(heats)] for _ in range(count)])
    apart, together = np.zeros((2, count, count), dtype=bool)
    for x, y in itertools.combinations(range(count), 2):
        kind = dice.random()
        apart[x, y] = apart[y, x] = kind < 0.2
        together[x, y] = together[y, x] = kind > 0.9
    for middle in range(count):
        together |= np.outer(together[:, middle], together[middle])
    np.fill_diagonal(together, False)
    return RoundRules(choices, allowed, apart, together, dice.randint(1, 4), dice.choice((0, 15, 20)))


def keeps(rules, heat_of):
    """Whether an assignment keeps every rule, looked at one by one."""
    for pilot, heat in enumerate(heat_of):
        if not rules.allowed[pilot, heat]:
            return False
    for x, y in itertools.combinations(range(len(heat_of)), 2):
        if rules.apart[x, y] and heat_of[x] == heat_of[y]:
            return False
        if rules.together[x, y] and heat_of[x] != heat_of[y]:
            return False
    for heat in set(heat_of):
        members = [pilot for pilot, own in enumerate(heat_of) if own == heat]
        if len(members) > rules.capacity:
            return False
        if not can_be_spaced([rules.choices[pilot] for pilot in members], rules.spacing_mhz):
            return False
    return True


@pytest.mark.parametrize("seed", range(300))
def test_a_round_is_found_just_where_there_is_one(seed):
    rules = random_rules(seed)
    count, heats = rules.allowed.shape
    found = find_round(rules)
    exists = any(keeps(rules, heat_of) for heat_of in itertools.product(range(heats), repeat=count))
    assert (found is not None) == exists
    assert found is None or keeps(rules, found)


def test_the_random_rounds_are_of_both_kinds():
    found = [find_round(random_rules(seed)) is not None for seed in range(300)]
    assert 100 < sum(found) < 250


def tight_rules(seed, count, channels, most_own, chance):
    """Rules that hold by a hair or not at all: heats no larger than need be, few channels."""
    dice = random.Random(seed)
    count, heats = dice.randint(*count), dice.randint(2, 3) if channels < 10 else dice.randint(4, 6)
    pool = range(0, 10 * channels, 10)
    choices = [tuple(sorted(dice.sample(pool, dice.randint(1, most_own)))) for _ in range(count)]
    allowed = np.array([[dice.random() < chance for _ in range(heats)] for _ in range(count)])
    apart, together = np.zeros((2, count, count), dtype=bool)
    for x, y in itertools.combinations(range(count), 2):
        kind = dice.random()
        apart[x, y] = apart[y, x] = kind < 0.1
        together[x, y] = together[y, x] = kind > 0.93 and channels < 10
    for middle in range(count):
        together |= np.outer(together[:, middle], together[middle])
    np.fill_diagonal(together, False)
    return RoundRules(choices, allowed, apart, together, -(-count // heats), dice.choice((10, 15, 20)))


@pytest.mark.parametrize("seed", [*range(20), 66, 148, 183, 220, 329, 510, 678, 777, 778, 866, 1187, 1261])
def test_a_tight_round_is_found_just_where_there_is_one(seed):
    rules = tight_rules(seed, (4, 7), 4, 2, 0.8)
    count, heats = rules.allowed.shape
    found = find_round(rules)
    exists = any(keeps(rules, heat_of) for heat_of in itertools.product(range(heats), repeat=count))
    assert (found is not None) == exists
    assert found is None or keeps(rules, found)


@pytest.mark.parametrize(("seed", "exists"), [(21, False), (33, True)])
def test_who_could_not_be_placed_before_is_placed_first(seed, exists):
    # Without that these rounds, of some thirty pilots, take more than so many nodes.
    found = find_round(tight_rules(seed, (20, 36), 10, 3, 0.7), node_limit=10_000)
    assert (found is not None) == exists


def test_a_single_pilot_fits_where_two_who_fly_together_do_not():
    # Quill has the first heat's other channel; Otter, who flies with Rook, has the same channel as Umber.
    together = np.zeros((4, 4), dtype=bool)
    together[0, 1] = together[1, 0] = True
    allowed = np.ones((4, 2), dtype=bool)
    allowed[3, 1] = False
    rules = plain_rules(
        4, 2, choices=[(5700,), (5800,), (5700,), (5800,)], allowed=allowed, together=together, capacity=2
    )
    assert find_round(rules) == [1, 1, 0, 0]


def plain_rules(count, heats, **other):
    none = np.zeros((count, count), dtype=bool)
    given = {
        "choices": [None] * count,
        "allowed": np.ones((count, heats), dtype=bool),
        "apart": none,
        "together": none,
        "capacity": count,
        "spacing_mhz": 20,
        **other,
    }
    return RoundRules(**given)


def test_a_full_round_of_many_is_found_at_once():
    rules = plain_rules(60, 10, choices=[(5658, 5695, 5732, 5769, 5806, 5843)] * 60, capacity=6)
    found = find_round(rules)
    assert found is not None
    assert [found.count(heat) for heat in range(10)] == [6] * 10


def test_one_place_too_few_is_seen_without_a_search():
    # By trying one after the other this would take 10! ways; what is left to place is counted first.
    rules = plain_rules(11, 10, capacity=1)
    assert find_round(rules, node_limit=10) is None


def test_pilots_bound_to_too_few_heats_are_seen_without_a_search():
    allowed = np.ones((12, 6), dtype=bool)
    allowed[:7, 3:] = False  # seven pilots for the six places of three heats
    assert find_round(plain_rules(12, 6, allowed=allowed, capacity=2), node_limit=1) is None


@pytest.mark.parametrize(
    ("own", "most"), [((5700,), 3), ((5700, 5710), 3), ((5700, 5740), 6), ((5700, 5720, 5740), 9)]
)
def test_more_pilots_than_their_channels_have_room_for_are_seen_without_a_search(own, most):
    # Three heats; one channel of 5700 and 5710 fits into a heat, two of 5700 and 5740, three of the last.
    assert find_round(plain_rules(most, 3, choices=[own] * most)) is not None
    assert find_round(plain_rules(most + 1, 3, choices=[own] * (most + 1)), node_limit=0) is None


def test_the_search_says_when_it_does_not_know():
    rules = plain_rules(4, 2, capacity=2)
    assert find_round(rules, node_limit=4) is not None
    with pytest.raises(UndecidedError):
        find_round(rules, node_limit=3)


def test_heats_without_members_that_differ_in_nothing_are_tried_once():
    # Six pilots of one channel, five heats: whoever is first goes to any heat, and the rest fails alike.
    rules = plain_rules(6, 5, choices=[(5800,)] * 6)
    assert find_round(rules, node_limit=6) is None


def test_pilots_who_fly_together_are_one_block():
    together = np.zeros((5, 5), dtype=bool)
    for x, y in itertools.permutations((0, 2, 4), 2):
        together[x, y] = True
    found = find_round(plain_rules(5, 2, together=together, capacity=3))
    assert found is not None
    assert found[0] == found[2] == found[4] != found[1] == found[3]
    assert find_round(plain_rules(5, 2, together=together, capacity=2)) is None


def test_a_heat_of_eleven_without_a_way_is_seen_at_once():
    # Eleven who differ where ten have room: every order leads to the same few states.
    choices = [tuple(range(5700 + row, 5885 + row, 3)) for row in range(11)]
    assert spaced_channels(choices, 20) is None
    assert spaced_channels(choices[:9], 20) is not None
    assert spaced_channels([choices[0]] * 11, 20) is None


def test_who_has_fewest_channels_left_is_settled_first():
    # One who has a single channel: whoever else took it first would have to be taken back.
    choices = [(5700, 5720, 5740, 5760)] * 3 + [(5700,)]
    found = lasting_channels(choices, [[0, 1, 2, 3]], 20, node_limit=4)
    assert found is not None
    assert found[3] == 5700


def test_who_fits_in_fewest_heats_is_placed_first():
    # P5 flies only in the first heat, which the others would fill.
    allowed = np.ones((6, 3), dtype=bool)
    allowed[5, 1:] = False
    found = find_round(plain_rules(6, 3, allowed=allowed, capacity=2), node_limit=6)
    assert found is not None
    assert found[5] == 0


def test_of_those_who_fit_equally_the_largest_block_is_placed_first():
    # Two single pilots in the two heats would leave no room for three together.
    together = np.zeros((5, 5), dtype=bool)
    for x, y in itertools.permutations((2, 3, 4), 2):
        together[x, y] = True
    found = find_round(plain_rules(5, 2, together=together, capacity=3), node_limit=3)
    assert found is not None
    assert found[2] == found[3] == found[4]


def test_a_place_is_given_up_for_another_by_whoever_can_go_elsewhere():
    # Three for three single places; who looks first would take the place that another needs.
    allowed = np.array([[1, 1, 1], [1, 1, 0], [1, 0, 0]], dtype=bool)
    assert find_round(plain_rules(3, 3, allowed=allowed, capacity=1), node_limit=3) == [2, 1, 0]
    allowed = np.array([[1, 1, 0], [1, 1, 0], [1, 1, 0]], dtype=bool)
    assert find_round(plain_rules(3, 3, allowed=allowed, capacity=1), node_limit=0) is None
