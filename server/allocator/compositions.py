"""Pilots of a day sorted into a few kinds of gear, and how good a heat of so many of each can be at best.

A *composition* is how many pilots of each kind fly in a heat. Kinds may be drawn more favourably than the gear is:
every receiver of a kind has the strongest wanted carrier of its pilots, every transmitter the weakest level, and
all may use any channel that one of them can. Each of these can only raise margins, so what no heat of the kinds
can beat, no heat of the pilots can. Adding a transmitter only lowers margins, so a composition is never better
than one that it holds.

Pilots who fly together are one *item*, and so is a pilot of a rarer kind who must not meet another of those; all
others of a kind are items alike.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from server.allocator.kernel import Gear
from server.allocator.scoring import gear_of, margin_of_load_db, quietest_mw


@dataclass(frozen=True)
class Kinds:
    """Kinds of gear, the most frequent first, and items; item 0 is one pilot of the most frequent kind.

    gear      one row a kind, as favourable as any of its pilots
    counts    how often each item occurs
    content   (items, kinds) pilots of each kind in an item
    item_of   (N,) item of each pilot, -1 for who is left out of the count
    never     pairs of items that share no heat
    """

    gear: Gear
    counts: tuple[int, ...]
    content: np.ndarray
    item_of: np.ndarray
    never: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class _Item:
    """Pilots who are items alike, or ``as_one``: who are one item."""

    pilots: list[int]
    as_one: bool = False

    @property
    def count(self) -> int:
        return 1 if self.as_one else len(self.pilots)


def kinds_by_radiation(
    gear: Gear, there: Sequence[int], together: np.ndarray, never: np.ndarray, most: int
) -> Kinds:
    """Pilots by what they radiate and how they hear, on any channel of their kind.

    together, never   (N, N) bool: pairs that share every heat, and pairs that share none

    Beyond ``most`` states (see ``_states``) wishes are left out of account, and the nearest in level are drawn
    together; kinds of another antenna than all others are left out, the rarest first: without a pilot margins are
    only better.
    """
    groups = _largest_first(
        [pilot for pilot in there if gear.alike[pilot] == kind]
        for kind in dict.fromkeys(gear.alike[list(there)].tolist())
    )
    items = _items(groups, together, never)
    while _states(items) > most:
        if any(item.as_one for item in items):
            items = [_Item(group) for group in groups]
            continue
        pairs = [(one, other) for one, other in combinations(groups, 2) if _hear_alike(gear, one, other)]
        nearest = min(pairs, key=lambda pair: _level_lost(gear, *pair), default=None)
        groups = _joined(groups, *nearest) if nearest else groups[:-1]
        items = [_Item(group) for group in groups]
    return _kinds(gear, groups, items, never)


def kinds_by_channels(gear: Gear, there: Sequence[int], most: int) -> Kinds:
    """Pilots of the most frequent radiation by the channels they can use; the others are left out.

    Beyond ``most`` states (see ``_states``) those are drawn together that gain the fewest channels by it.
    """
    kinds, counts = np.unique(gear.alike[list(there)], return_counts=True)
    crowd = [pilot for pilot in there if gear.alike[pilot] == kinds[counts.argmax()]]
    by_channels: dict[bytes, list[int]] = {}
    for pilot in crowd:
        by_channels.setdefault(gear.usable[pilot].tobytes(), []).append(pilot)
    groups = _largest_first(by_channels.values())
    while _states([_Item(group) for group in groups]) > most:
        groups = _joined(
            groups, *min(combinations(groups, 2), key=lambda pair: _channels_gained(gear, *pair))
        )
    nobody = np.zeros((len(gear.sense), len(gear.sense)), dtype=np.bool_)
    return _kinds(gear, groups, [_Item(group) for group in groups], nobody)


def _largest_first(groups: Iterable[list[int]]) -> list[list[int]]:
    return sorted(groups, key=lambda group: (-len(group), group))


def _joined(groups: list[list[int]], one: list[int], other: list[int]) -> list[list[int]]:
    rest = [group for group in groups if group not in (one, other)]
    return _largest_first([*rest, sorted(one + other)])


def _items(groups: list[list[int]], together: np.ndarray, never: np.ndarray) -> list[_Item]:
    """Pilots of a rarer kind are one item where wishes bind them to somebody or part them from others of those."""
    counted = {pilot for group in groups for pilot in group}
    rarer = counted - set(groups[0])
    bound: list[list[int]] = []
    for pilot in sorted(rarer):
        block = sorted({pilot, *(counted & set(np.flatnonzero(together[pilot]).tolist()))})
        is_apart = bool(rarer & set(np.flatnonzero(never[pilot]).tolist()))
        if (len(block) > 1 or is_apart) and block not in bound:
            bound.append(block)
    alone = {pilot for block in bound for pilot in block}
    loose = [[pilot for pilot in group if pilot not in alone] for group in groups]
    return [
        _Item(loose[0]),
        *(_Item(group) for group in loose[1:] if group),
        *(_Item(block, as_one=True) for block in bound),
    ]


def _states(items: Sequence[_Item]) -> int:
    """How many different numbers can be taken of all items but the first."""
    return math.prod(item.count + 1 for item in items[1:])


def _hear_alike(gear: Gear, one: Sequence[int], other: Sequence[int]) -> bool:
    return bool(gear.sense[one[0]] == gear.sense[other[0]])


def _level_lost(gear: Gear, one: Sequence[int], other: Sequence[int]) -> float:
    """How much weaker, in all, the pilots of two kinds are drawn as one."""
    levels = gear.level_mw[:, [*one, *other]].max(axis=0)
    return float(np.log(levels / levels.min()).sum())


def _channels_gained(gear: Gear, one: Sequence[int], other: Sequence[int]) -> int:
    together = gear.usable[[*one, *other]].any(axis=0).sum()
    return int(sum(together - gear.usable[pilot].sum() for pilot in (*one, *other)))


def _kinds(gear: Gear, groups: list[list[int]], items: list[_Item], never: np.ndarray) -> Kinds:
    content = np.zeros((len(items), len(groups)), dtype=np.int64)
    item_of = np.full(len(gear.sense), -1, dtype=np.int64)
    kind_of = {pilot: kind for kind, group in enumerate(groups) for pilot in group}
    for number, item in enumerate(items):
        item_of[item.pilots] = number
        for pilot in item.pilots if item.as_one else item.pilots[:1]:
            content[number, kind_of[pilot]] += 1
    content[0] = np.eye(len(groups), dtype=np.int64)[0]
    drawn = gear_of(gear, [group[0] for group in groups])._replace(
        usable=np.array([gear.usable[group].any(axis=0) for group in groups]),
        level_mw=np.array([gear.level_mw[:, group].min(axis=1) for group in groups]).T.copy(),
        wanted_mw=np.array([gear.wanted_mw[group].max() for group in groups]),
        alike=np.arange(len(groups)),
        current=np.full(len(groups), -1, dtype=np.int64),
    )
    apart = tuple(
        (x, y)
        for x, y in combinations(range(len(items)), 2)
        if items[x].as_one and items[y].as_one and never[np.ix_(items[x].pilots, items[y].pilots)].any()
    )
    return Kinds(drawn, tuple(item.count for item in items), content, item_of, apart)


def heat_gear(kinds: Kinds, composition: Sequence[int]) -> Gear:
    """The gear of a heat of so many pilots of each kind."""
    return gear_of(kinds.gear, [kind for kind, count in enumerate(composition) for _ in range(count)])


def ceilings_db(gear: Gear, compositions: np.ndarray) -> np.ndarray:
    """(c,) margin in dB that no heat of a composition (c, kinds) can beat, whatever channels it uses.

    No carrier and no product is attenuated by more than the floor of the protection ratio. The levels of all
    products of a set of carriers add up to 2 S1^3 - 5 S1 S2 + 3 S3, S being the sums of their first, second and
    third powers. Of outside signals each kind hears at least what is on its quietest channel.
    """
    loads = np.zeros(len(compositions))
    quiet_mw = quietest_mw(gear)
    for kind in range(len(gear.sense)):
        level = gear.level_mw[gear.sense[kind]]
        heard = compositions.astype(np.float64)
        heard[:, kind] -= 1.0
        first, second, third = heard @ level, heard @ level**2, heard @ level**3
        products = np.maximum(0.0, 2.0 * first**3 - 5.0 * first * second + 3.0 * third)
        load = (first + gear.mixing * products) * gear.protection[-1] + quiet_mw[kind]
        loads = np.maximum(loads, np.where(compositions[:, kind] > 0, load / gear.wanted_mw[kind], 0.0))
    # A hair up, so that rounding never makes a bound of what can just be reached.
    return margin_of_load_db(np.maximum(loads, 0.0) * (1.0 - 1e-9))
