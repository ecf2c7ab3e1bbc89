"""The exact search over the channels of one heat.

Depth first with an explicit stack, so that it can stop after a number of nodes and go on later. At every node

* the channels of the pilots to come are narrowed to those that can lead within the limits (``narrowing.py``);
  where that leaves somebody none, or the bound passes the limit, the node is left;
* the pilot with the fewest live channels is placed next, one who was often left without any before others; the
  least loaded channel first;
* pilots of equal gear are interchangeable: once "Wren on R1" is searched to the end, "Rook on R1" beside
  it can only repeat it with the names exchanged, so R1 is taken from Rook in the branches that follow.

Shapes: n pilots, m channels (ascending MHz), s receiving senses that occur.
"""

import numpy as np

from server.allocator.choice import is_better_choice, key_of, margin_tenths, sort_few
from server.allocator.compiled import compiled, compiled_inside, compiled_part
from server.allocator.kernel import CHOICE, STRESS_FACTOR, STRESSED, TIE, WORST, Gear
from server.allocator.loops import copy_into
from server.allocator.narrowing import narrow
from server.allocator.stack import Stack, waiting_pilots
from server.allocator.sums import newcomer_loads, place


@compiled_part
def _open(gear, stack, depth, goal):
    """Choose who is placed next at the open node and in which order the channels are tried."""
    count, channels = gear.usable.shape
    live = stack.live[depth]
    sums = stack.sums
    chosen = -1
    fewest = channels + 1
    best_score = np.inf
    for later in waiting_pilots(sums.pilot, depth, count):
        left = 0
        for f in range(channels):
            left += live[later, f]
        score = left / stack.weight[later]
        if score < best_score:
            best_score = score
            fewest = left
            chosen = later
    rank = np.empty(fewest)
    found = 0
    for f in range(channels):
        if not live[chosen, f]:
            continue
        stack.option[depth, found] = f
        carriers = sums.carriers[depth, gear.sense[chosen], f]
        products = sums.products[depth, gear.sense[chosen], f]
        rank[found] = carriers + (products if goal == WORST else STRESS_FACTOR * products)
        if goal == CHOICE:
            if gear.current[chosen] >= 0 and gear.current[chosen] != f:
                rank[found] += 1e6
            if not gear.in_day_set[f]:
                rank[found] += 1e3
        found += 1
    sort_few(rank, stack.option[depth])
    sums.pilot[depth] = chosen
    stack.options[depth] = found
    stack.tried[depth] = 0


@compiled_part
def _descend_to(gear, stack, depth, f):
    """Put the open node's pilot on channel f and make ready the node below."""
    pilot = stack.sums.pilot[depth]
    place(gear, stack.rows, stack.sums, depth, pilot, f)
    below = depth + 1
    if below == gear.usable.shape[0]:
        return
    for later in range(gear.usable.shape[0]):
        for g in range(gear.usable.shape[1]):
            stack.live[below, later, g] = (
                stack.live[depth, later, g] and abs(gear.mhz[g] - gear.mhz[f]) >= gear.spacing_mhz
            )
    stack.options[below] = -1


@compiled_part
def _drop_mirrored(gear, stack, depth, f, tried):
    """Leave out what equal gear would only repeat with names exchanged.

    With pilot u on f, a pilot v of equal gear who could also use f must not take a channel e that u has
    already tried here: the exchange (u on e, v on f) was searched. Where current channels matter the
    exchange must not be worse for it.
    """
    placed = stack.sums.pilot[depth]
    for other in range(gear.usable.shape[0]):
        if other == placed or gear.alike[other] != gear.alike[placed] or not gear.usable[other, f]:
            continue
        for x in range(tried):
            e = stack.option[depth, x]
            kept_now = (gear.current[placed] == f) + (gear.current[other] == e)
            kept_exchanged = (gear.current[placed] == e) + (gear.current[other] == f)
            if kept_exchanged >= kept_now:
                stack.live[depth + 1, other, e] = False


@compiled_part
def _close(gear, stack, depth, goal):
    """Put the last pilot on every channel left, all of which are within the limits, and keep the best."""
    count = gear.usable.shape[0]
    last = stack.sums.pilot[depth]
    load = np.empty(gear.usable.shape[1])
    stressed = np.empty(gear.usable.shape[1])
    newcomer_loads(gear, stack.rows, stack.sums, depth, last, load, stressed)
    for x in range(stack.options[depth]):
        f = stack.option[depth, x]
        value = load[f] if goal == WORST else stressed[f]
        if goal != CHOICE and stack.value[1] == 1.0 and value >= stack.value[0] * (1.0 - TIE):
            continue
        place(gear, stack.rows, stack.sums, depth, last, f)
        if goal == CHOICE:
            value = float(key_of(gear, stack, count))
            if not is_better_choice(gear, stack, value):
                continue
        stack.value[0] = value
        stack.value[1] = 1.0
        copy_into(stack.best, stack.sums.channel)
        copy_into(stack.tenths, margin_tenths(gear, stack.sums))


@compiled
def search(gear, stack, goal, limit, stressed_limit, most_nodes):
    """Go on searching for at most ``most_nodes`` nodes.

    goal                    WORST, STRESSED or CHOICE: what is minimised
    limit, stressed_limit   largest load and stressed load that an answer may have

    Returns True when the search has ended: stack.best is then optimal, or -1 where there is no answer.
    """
    count = gear.usable.shape[0]
    stop_at = stack.nodes[0] + most_nodes
    while stack.depth[0] >= 0:
        if stack.nodes[0] >= stop_at:
            return False
        depth = stack.depth[0]
        if stack.options[depth] < 0:
            stack.nodes[0] += 1
            if not _open_within(gear, stack, depth, goal, limit, stressed_limit):
                stack.depth[0] -= 1
                continue
            if depth + 1 == count:
                _close(gear, stack, depth, goal)
                stack.options[depth] = 0
        if stack.tried[depth] >= stack.options[depth] or _is_settled(stack, depth, goal):
            stack.options[depth] = -1
            stack.sums.channel[stack.sums.pilot[depth]] = -1
            stack.depth[0] -= 1
            continue
        tried = stack.tried[depth]
        f = stack.option[depth, tried]
        stack.tried[depth] += 1
        _descend_to(gear, stack, depth, f)
        _drop_mirrored(gear, stack, depth, f, tried)
        stack.depth[0] = depth + 1
    return True


@compiled_inside
def _open_within(gear, stack, depth, goal, limit, stressed_limit):
    """Narrow and open a node; False where nothing better than the answer in hand can follow."""
    has_answer = stack.value[1] == 1.0
    # Only a better answer is of interest, so the answer in hand tightens the limit of what is minimised.
    if has_answer and goal == WORST:
        limit = min(limit, stack.value[0] * (1.0 - TIE))
    if has_answer and goal == STRESSED:
        stressed_limit = min(stressed_limit, stack.value[0] * (1.0 - TIE))
    bound, stressed_bound = narrow(gear, stack, depth, limit, stressed_limit)
    if bound > limit or stressed_bound > stressed_limit or bound == np.inf:
        return False
    if goal == CHOICE and has_answer and key_of(gear, stack, depth) > stack.value[0]:
        return False
    stack.bound[depth] = bound if goal == WORST else stressed_bound
    _open(gear, stack, depth, goal)
    return True


@compiled_inside
def _is_settled(stack, depth, goal):
    """Whether the answer in hand is as good as any that can follow below a node that is open."""
    return goal != CHOICE and stack.value[1] == 1.0 and stack.bound[depth] > stack.value[0] * (1.0 - TIE)


def root_bound(gear: Gear, stack: Stack) -> float:
    """Load that no assignment can stay below: the bound of a search that has not begun.

    Everybody has a channel, else there is none.
    """
    search(gear, stack, WORST, np.inf, np.inf, 1)
    return float(stack.bound[0])
