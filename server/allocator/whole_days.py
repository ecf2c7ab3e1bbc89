"""Whether all rounds of a day can hold with one channel for each pilot, by a search that tries everything."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from server.allocator.feasibility import RoundRules, UndecidedError, channels_of_round, find_round

MOST_SETTLED = 4_000
"""Pilots settled, over all tries: a try of a large day takes longer."""

Choices = tuple[int, ...] | None


@dataclass(frozen=True)
class WholeDay:
    """heat_of: for each round, the heat of every pilot; mhz: a channel for each pilot, None where any will do."""

    heat_of: tuple[tuple[int, ...], ...]
    mhz: tuple[int | None, ...]


def find_day(
    rounds: Sequence[RoundRules], keeps_channels: bool, most_settled: int = MOST_SETTLED
) -> WholeDay | None:
    """Some day that keeps the rules of its rounds; None when there is provably none.

    rounds          of the same pilots; who misses a round may have any channel in it
    keeps_channels  everybody has one channel in all rounds; else the channels are those of the first round

    Raises UndecidedError at the limit.
    """
    return _DaySearch(rounds, keeps_channels, most_settled).run()


class _DaySearch:
    """Rounds are settled one after the other, each on the channels that the earlier ones left.

    Where a round does not fit to those, the pilot with the fewest channels tries one after the other, and all
    rounds are settled again.
    """

    def __init__(self, rounds: Sequence[RoundRules], keeps_channels: bool, most_settled: int) -> None:
        self.rounds = rounds
        self.keeps_channels = keeps_channels
        self.left = most_settled
        self.is_unsure = False
        self.known: dict[tuple[object, ...], list[int] | None] = {}

    def run(self) -> WholeDay | None:
        pilots = range(len(self.rounds[0].choices))
        found = self._settle([_own_choices(self.rounds, row) for row in pilots])
        if found is None and self.is_unsure:
            raise UndecidedError
        return found

    def _settle(self, choices: list[Choices]) -> WholeDay | None:
        if self.left <= 0:
            raise UndecidedError
        self.left -= len(choices)
        states = [self._state(_on(one, choices)) for one in self.rounds]
        if "none" in states:
            return None
        found = self._chain(choices)
        if found is not None:
            return found
        open_rows = [row for row, own in enumerate(choices) if own is not None and len(own) > 1]
        if not self.keeps_channels or not open_rows:
            self.is_unsure = True  # every round by itself may hold, so one of them was not decided
            return None
        row = min(open_rows, key=lambda one: (len(choices[one] or ()), one))
        for mhz in choices[row] or ():
            found = self._settle([*choices[:row], (mhz,), *choices[row + 1 :]])
            if found is not None:
                return found
        return None

    def _chain(self, choices: Sequence[Choices]) -> WholeDay | None:
        left, mhz = list(choices), list[int | None]([None] * len(choices))
        heats: list[tuple[int, ...]] = []
        for one in self.rounds:
            rules = _on(one, left)
            if self._state(rules) != "some":
                return None
            heat_of = self._round(rules) or []
            heats.append(tuple(heat_of))
            for row, own in enumerate(channels_of_round(rules, heat_of)):
                if own is not None and mhz[row] is None:
                    mhz[row] = own
                    left[row] = (own,) if self.keeps_channels else left[row]
        return WholeDay(tuple(heats), tuple(mhz))

    def _state(self, rules: RoundRules) -> Literal["some", "none", "undecided"]:
        try:
            return "none" if self._round(rules) is None else "some"
        except UndecidedError:
            return "undecided"

    def _round(self, rules: RoundRules) -> list[int] | None:
        """Rounds alike are searched once."""
        key = (*rules.choices, rules.allowed.tobytes(), rules.apart.tobytes(), rules.together.tobytes())
        if key not in self.known:
            self.known[key] = find_round(rules)
        return self.known[key]


def _own_choices(rounds: Sequence[RoundRules], row: int) -> Choices:
    return next((own for one in rounds if (own := one.choices[row]) is not None), None)


def _on(rules: RoundRules, choices: Sequence[Choices]) -> RoundRules:
    """The same round with these channels left to those who have a part in it."""
    left = [None if own is None else now for own, now in zip(rules.choices, choices, strict=True)]
    return replace(rules, choices=left)
