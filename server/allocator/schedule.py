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


def heat_sizes(frame: Frame, present: int, everybody: int) -> tuple[int, int]:
    """Fewest and most pilots of a heat in a round with so many of everybody there.

    With somebody missing a heat may be one short and others as full as in a full round: nobody leaves a good
    channel to even it out.
    """
    if present == everybody:
        return frame.smallest, frame.largest
    return max(0, present // frame.heats - 1), frame.largest


def is_there(pilot: Pilot, number: int) -> bool:
    """Whether a pilot has come and not yet left when heat ``number`` flies."""
    return (pilot.after is None or number > pilot.after) and (pilot.before is None or number < pilot.before)


def _numbers(frame: Frame, round_number: int) -> range:
    return range((round_number - 1) * frame.heats + 1, round_number * frame.heats + 1)


def takes_part(problem: DayProblem, frame: Frame, round_number: int) -> np.ndarray:
    """(N,) bool: pilots who are there for some heat of a round; the others miss it."""
    numbers = _numbers(frame, round_number)
    return np.array(
        [any(is_there(pilot, number) for number in numbers) for pilot in problem.pilots], dtype=np.bool_
    )


def allowed_heats(problem: DayProblem, frame: Frame, round_number: int) -> np.ndarray:
    """(N, H) bool: heats of a round that each pilot may fly in, by presence and by a heat that is set."""
    numbers = _numbers(frame, round_number)
    return np.array(
        [
            [
                is_there(pilot, number) and (pilot.heat not in numbers or pilot.heat == number)
                for number in numbers
            ]
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
