"""What a finished day adds up to."""

from collections.abc import Sequence
from itertools import combinations, pairwise

from server.allocator.plan import Heat
from server.allocator.problem import DayProblem


def moved_pilots(problem: DayProblem, channels: dict[int, int]) -> int:
    """Pilots by row whose transmitter is set to another channel than the plan has."""
    return sum(
        problem.pilots[row].current_mhz is not None and problem.pilots[row].current_mhz != mhz
        for row, mhz in channels.items()
    )


def retunes(heats: Sequence[Heat]) -> int:
    """How often a pilot changes channel from one heat to the next of their own."""
    flown: dict[str, list[int]] = {}
    for heat in heats:
        for slot in heat.slots:
            flown.setdefault(slot.callsign, []).append(slot.mhz)
    return sum(earlier != later for channels in flown.values() for earlier, later in pairwise(channels))


def rounds_of(heats: Sequence[Sequence[int]]) -> list[int]:
    """Round of each given heat: one more than its pilots have flown before."""
    flown: dict[int, int] = {}
    rounds = []
    for heat in heats:
        number = 1 + max((flown.get(row, 0) for row in heat), default=0)
        rounds.append(number)
        flown.update(dict.fromkeys(heat, number))
    return rounds


def repeat_pairings(heats: Sequence[Heat]) -> int:
    """How often pilots meet again whom they have met, over all pairs."""
    met: dict[tuple[str, str], int] = {}
    for heat in heats:
        for pair in combinations(sorted(slot.callsign for slot in heat.slots), 2):
            met[pair] = met.get(pair, 0) + 1
    return sum(times - 1 for times in met.values())
