"""Two threads at one exact search: what is left of it is split, and the better answer is shared between chunks.

Both go on for the same number of nodes before they look at each other, so the answer and the number of nodes are
the same however quick the threads are.
"""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np

from server.allocator.kernel import Gear
from server.allocator.search import search
from server.allocator.stack import Stack
from server.allocator.sums import Sums


def split(stack: Stack) -> Stack | None:
    """Hand every other channel not tried yet, at the open node nearest to the root, to a search of its own.

    None where no open node has two of them left.
    """
    for depth in range(int(stack.depth[0]) + 1):
        tried, options = int(stack.tried[depth]), int(stack.options[depth])
        if options - tried >= 2:
            break
    else:
        return None
    rest = stack.option[depth, tried:options].copy()
    other = _copied(stack)
    other.depth[0] = depth
    other.options[depth + 1 :] = -1
    other.nodes[0] = 0
    _leave(stack, depth, tried, rest[::2])
    _leave(other, depth, tried, rest[1::2])
    return other


def _leave(stack: Stack, depth: int, tried: int, rest: np.ndarray) -> None:
    stack.option[depth, tried : tried + len(rest)] = rest
    stack.options[depth] = tried + len(rest)


def _copied(stack: Stack) -> Stack:
    """The same search with arrays of its own; what never changes is shared."""
    own: dict[str, Any] = {
        name: value.copy() for name, value in stack._asdict().items() if isinstance(value, np.ndarray)
    }
    return stack._replace(sums=Sums(*(value.copy() for value in stack.sums)), **own)


def share_answer(one: Stack, other: Stack) -> None:
    """Give both searches the better answer of the two."""
    better, worse = (one, other) if one.value[0] <= other.value[0] else (other, one)
    worse.value[:] = better.value
    worse.best[:] = better.best
    worse.tenths[:] = better.tenths


def search_side_by_side(
    threads: ThreadPoolExecutor,
    gear: Gear,
    stacks: Sequence[Stack],
    goal: int,
    limits: tuple[float, float],
    most_nodes: int,
) -> list[bool]:
    """Let searches go on for so many nodes each, and share the best answer; whether each has come to its end."""
    beside = [threads.submit(search, gear, stack, goal, *limits, most_nodes) for stack in stacks[1:]]
    have_ended = [search(gear, stacks[0], goal, *limits, most_nodes), *(one.result() for one in beside)]
    for stack in stacks[1:]:
        share_answer(stacks[0], stack)
    return have_ended
