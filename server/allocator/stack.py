"""Where the exact search over a heat's channels stands."""

from typing import NamedTuple

import numpy as np

from server.allocator.compiled import compiled_part
from server.allocator.kernel import Gear
from server.allocator.packing import Steps, steps_of
from server.allocator.sums import Rows, Sums, new_sums, rows_of


class Stack(NamedTuple):
    """Where a search stands; row d belongs to the node with d pilots placed.

    rows, sums  what is heard where, see ``sums.py``
    steps       channels a distance away, see ``packing.py``
    everybody   (n,)       0 to n - 1
    weight      (n,)       how often each pilot was the one with no channel left, plus one
    live        (n, n, m)  bool: channels that each pilot to come may still have
    option      (n, m)     channels to try, best first
    options     (n,)       how many, -1 before the node is opened
    tried       (n,)       how many were tried
    bound       (n,)       least that what is minimised can become below
    best        (n,)       channel of each pilot in the best answer, -1 before there is one
    tenths      (n,)       margins of the best answer in tenths of a dB, ascending
    value       (2,)       [0] the best answer's load, or whole-number key; [1] 1 once there is an answer
    depth       (1,)       placed pilots at the open node; -1 when the search has ended
    nodes       (1,)       nodes opened so far

    Work space of the open node, [0] for loads and [1] for stressed ones, in mW:

    sure        (2, n)     at each placed receiver, with everything to come at the floor
    least       (2, n)     what the pilots to come are sure to add to that
    harm        (2, n, m)  what one pilot to come would add to the x-th of those placed, by channel
    own         (n, 2)     least load and stressed load that each pilot to come can have
    left        (m,)       channels that are still in question
    """

    rows: Rows
    sums: Sums
    steps: Steps
    everybody: np.ndarray
    weight: np.ndarray
    live: np.ndarray
    option: np.ndarray
    options: np.ndarray
    tried: np.ndarray
    bound: np.ndarray
    best: np.ndarray
    tenths: np.ndarray
    value: np.ndarray
    depth: np.ndarray
    nodes: np.ndarray
    sure: np.ndarray
    least: np.ndarray
    harm: np.ndarray
    own: np.ndarray
    left: np.ndarray


def new_stack(gear: Gear) -> Stack:
    """A search that has not begun."""
    n, m = gear.usable.shape
    stack = Stack(
        rows=rows_of(gear),
        sums=new_sums(gear),
        steps=steps_of(gear),
        everybody=np.arange(n),
        weight=np.ones(n),
        live=np.zeros((n, n, m), dtype=np.bool_),
        option=np.zeros((n, m), dtype=np.int64),
        options=np.full(n, -1, dtype=np.int64),
        tried=np.zeros(n, dtype=np.int64),
        bound=np.zeros(n),
        best=np.full(n, -1, dtype=np.int64),
        tenths=np.zeros(n, dtype=np.int64),
        value=np.array([np.inf, 0.0]),
        depth=np.zeros(1, dtype=np.int64),
        nodes=np.zeros(1, dtype=np.int64),
        sure=np.zeros((2, n)),
        least=np.zeros((2, n)),
        harm=np.zeros((2, n, m)),
        own=np.zeros((n, 2)),
        left=np.zeros(m, dtype=np.int64),
    )
    stack.live[0] = gear.usable
    return stack


@compiled_part
def waiting_pilots(placed, depth, count):
    """Pilots by index who are not among the first ``depth`` placed."""
    waiting = np.empty(count - depth, dtype=np.int64)
    found = 0
    for pilot in range(count):
        is_placed = False
        for x in range(depth):
            if placed[x] == pilot:
                is_placed = True
        if not is_placed:
            waiting[found] = pilot
            found += 1
    return waiting
