"""The compiled code made ready before it is needed.

Where nothing is kept on the disk, two processes compile at once: another one the search of a heat, which is half
of the work, this one all the rest. Both keep what they compile, so this one only loads what the other has done.
"""

import subprocess
import sys
from collections.abc import Callable
from functools import lru_cache
from threading import Lock

import numpy as np

from server.allocator import anneal, moves_core
from server.allocator.changes import trade_offs
from server.allocator.compiled import is_all_kept, is_compiling, note_that_all_is_kept
from server.allocator.kernel import WORST, Gear
from server.allocator.plan import Heat, Slot
from server.allocator.planner import Planner
from server.allocator.problem import DayProblem, Pilot
from server.allocator.provisional import provisional_channel
from server.allocator.rest import RestOfDay
from server.allocator.round_search import RoundSearch
from server.allocator.scoring import day_gear
from server.allocator.search import search
from server.allocator.stack import new_stack

CROWD = tuple(Pilot(str(number), (5658, 5695, 5732, 5769)) for number in range(4))
POWER_MW = 25.0


def warm_up() -> None:
    """Compile or load everything that a plan, a change or a provisional channel needs.

    Takes eight seconds on a machine with two free cores that never did it, half a second after that, nothing from
    the second call on. Safe to call from several threads: all wait until it is done.
    """
    with _one_warms_up:
        _warm_up()


_one_warms_up = Lock()


@lru_cache(maxsize=1)
def _warm_up() -> None:
    if is_compiling() and not is_all_kept():
        other = _process_for(compile_search)
        _compile_the_rest()
        if other is not None:
            other.wait()
    _use_everything()
    note_that_all_is_kept()


def compile_elsewhere() -> None:
    """Have everything compiled and kept by another process: the 130 MB that compiling takes go with it.

    Whoever calls `warm_up` meanwhile waits for it.
    """
    with _one_warms_up:
        if is_compiling() and not is_all_kept():
            other = _process_for(warm_up)
            if other is not None:
                other.wait()


def compile_search() -> None:
    """Compile the search of a heat and keep it."""
    gear = _gear()
    search(gear, new_stack(gear), WORST, np.inf, np.inf, 1)


def _process_for(task: Callable[[], None]) -> subprocess.Popen[bytes] | None:
    """Another process that does a task of this module; None where none can be had, and all is compiled here."""
    program = (
        f"import sys; sys.path[:] = {sys.path!r}; from {__name__} import {task.__name__} as task; task()"
    )
    try:
        return subprocess.Popen(
            [sys.executable, "-c", program],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
    except OSError:
        return None


def _gear() -> Gear:
    return day_gear(DayProblem(CROWD, aircraft=len(CROWD)), [POWER_MW] * len(CROWD))


def _compile_the_rest() -> None:
    """Whatever can be called without a search of a heat."""
    provisional_channel(CROWD[0], (), DayProblem((), aircraft=2))
    gear, channel, members = _gear(), np.arange(len(CROWD)), np.arange(2)
    day = RoundSearch(DayProblem(CROWD, aircraft=2), [POWER_MW] * len(CROWD), lambda *_: True)
    rules, heat_of = day._everybody(), np.array([0, 0, 1, 1])
    anneal.improve(gear, rules, 2, heat_of.copy(), channel.copy(), 1, 1.0, 1.0, day.random)
    anneal.broken_rules(gear, rules, 2, heat_of, channel)
    moves_core.channel_loads(gear, members, channel, 2)
    moves_core.improve_free(gear, members, members + 2, channel, np.inf, channel.copy())


def _use_everything() -> None:
    Planner(DayProblem(CROWD, aircraft=2, rounds=2, time_limit_s=None), None).run()
    provisional_channel(CROWD[0], (), DayProblem((), aircraft=2))
    trade_offs(
        RestOfDay(
            DayProblem(CROWD, aircraft=5),
            (Heat(1, 1, (Slot("0", 5658, POWER_MW),), None, None, False),),
            1,
            POWER_MW,
        )
    )
    for node_limit in (1, 1_000):  # also what is only asked of a search that was stopped
        day = DayProblem(CROWD[:3], one_heat=True, node_limit=node_limit, time_limit_s=None)
        Planner(day, None).run()
