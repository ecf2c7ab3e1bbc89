"""500 faults in heats: how often the trouble desk names the true cause first, and among the first three.

    python3 -m server dev tests.benchmarks.trouble_desk [--faults N] [--seed S]

The faults are injected and seen by the simulation of `tests/allocator/troubled_heats.py`, which says what it
assumes. "Somebody on in the pits" is one cause, whoever it is, since one call to the pits tests them all, and so
is "products in a receiver that is easy to overload"; how often the right names stand first is told beside.
"""

import argparse
from collections import Counter, defaultdict
from collections.abc import Sequence

from server.allocator.trouble import Cause, rank
from tests.allocator.troubled_heats import Trouble, troubles

FAULTS, SEED = 500, 2026


def is_true(cause: Cause, trouble: Trouble) -> bool:
    """Whether a cause is what was injected."""
    if cause.kind != trouble.kind:
        return False
    return cause.kind in ("pits", "outside", "product") or tuple(sorted(cause.who)) == tuple(
        sorted(trouble.who)
    )


def place_of(trouble: Trouble) -> int | None:
    """Where the true cause stands, from 1; None where it is not listed."""
    causes = rank(trouble.air, trouble.report)
    return next((place for place, one in enumerate(causes, start=1) if is_true(one, trouble)), None)


def measure(found: Sequence[Trouble]) -> dict[str, Counter[int | None]]:
    """How often the true cause stood where, by kind of fault; "all" for all."""
    places: defaultdict[str, Counter[int | None]] = defaultdict(Counter)
    for trouble in found:
        place = place_of(trouble)
        places[trouble.kind][place] += 1
        places["all"][place] += 1
    return dict(places)


def within(places: Counter[int | None], most: int) -> float:
    """Share of the true causes that stood at most so far down."""
    return sum(places[place] for place in range(1, most + 1)) / places.total()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--faults", type=int, default=FAULTS)
    parser.add_argument("--seed", type=int, default=SEED)
    args = parser.parse_args()
    found = troubles(args.faults, args.seed)
    places = measure(found)
    print(f"{args.faults} faults, seed {args.seed}\n")
    print("| fault | how many | ranks first | in the first three | not listed |")
    print("| --- | --- | --- | --- | --- |")
    for kind in [*sorted(one for one in places if one != "all"), "all"]:
        one = places[kind]
        figures = f"{within(one, 1):.0%} | {within(one, 3):.0%} | {one[None] / one.total():.0%}"
        print(f"| {kind} | {one.total()} | {figures} |")
    words = Counter(trouble.report.symptom for trouble in found)
    print(f"\nTold as: {', '.join(f'{word} {count}' for word, count in words.most_common())}.")
    for kind in ("pits", "product"):
        of_kind = [one for one in found if one.kind == kind]
        named = sum(_names(trouble, kind) for trouble in of_kind)
        print(f"Of {kind} the right names stand first in {named} of {len(of_kind)}.")


def _names(trouble: Trouble, kind: str) -> bool:
    causes = [cause for cause in rank(trouble.air, trouble.report) if cause.kind == kind]
    return any(set(cause.who[: len(trouble.who)]) == set(trouble.who) for cause in causes)


if __name__ == "__main__":
    main()
