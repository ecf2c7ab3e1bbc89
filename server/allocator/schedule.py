"""The frame of a day: how many heats a round has, how large they are, and who may fly in which.

Heats are numbered through the day: round r (from 1) of H heats holds the numbers (r-1) H + 1 ... r H.
"""

from dataclasses import dataclass

import numpy as np

from server.allocator.problem import DayProblem, Pilot


@dataclass(frozen=True)
class Frame:
    """Heats of a round and their sizes.

    heats               in every round
    smallest, largest   pilots in a heat when the sizes are as equal as can be
    """

    heats: int
    smallest: int
    largest: int


def frame_of(problem: DayProblem) -> Frame:
    """As few heats as hold everybody, as equal in size as can be."""
    count = len(problem.pilots)
    if problem.one_heat:
        return Frame(1, count, count)
    heats = max(1, -(-count // problem.aircraft))
    return Frame(heats, count // heats, -(-count // heats))


def may_fly(pilot: Pilot, number: int, first: int, last: int) -> bool:
    """Whether a pilot may fly in heat ``number`` of the round that spans first ... last."""
    if pilot.heat is not None and first <= pilot.heat <= last and number != pilot.heat:
        return False
    if pilot.after is not None and number <= pilot.after:
        return False
    return pilot.before is None or number < pilot.before


def allowed_heats(problem: DayProblem, frame: Frame, round_number: int) -> np.ndarray:
    """(N, H) bool: heats of a round that each pilot may fly in; a row of False misses the round."""
    first = (round_number - 1) * frame.heats + 1
    last = round_number * frame.heats
    return np.array(
        [
            [may_fly(pilot, number, first, last) for number in range(first, last + 1)]
            for pilot in problem.pilots
        ],
        dtype=np.bool_,
    ).reshape(len(problem.pilots), frame.heats)


def rested_heats(heat_of: np.ndarray, frame: Frame, rest_heats: int) -> np.ndarray:
    """(N, H) bool: heats of the next round far enough from a pilot's heat in this one.

    As much rest as a round of H heats can give everybody: at most H - 1.
    """
    rest = min(rest_heats, frame.heats - 1)
    gap = frame.heats - heat_of[:, np.newaxis] + np.arange(frame.heats)[np.newaxis, :]
    return (gap > rest) | (heat_of[:, np.newaxis] < 0)


def pairs(problem: DayProblem, kind: str) -> np.ndarray:
    """(N, N) bool, symmetric: pairs that fly ``apart`` (spotters too) or ``together``."""
    index = {pilot.callsign: row for row, pilot in enumerate(problem.pilots)}
    table = np.zeros((len(index), len(index)), dtype=np.bool_)
    for row, pilot in enumerate(problem.pilots):
        named = pilot.together if kind == "together" else pilot.apart | {pilot.spotter or ""}
        for name in named:
            if name in index and index[name] != row:
                table[row, index[name]] = table[index[name], row] = True
    if kind == "together":
        # Together with Wren, who flies together with Rook, is together with Rook.
        for middle in range(len(index)):
            table |= np.outer(table[:, middle], table[middle])
        np.fill_diagonal(table, False)
    return table
