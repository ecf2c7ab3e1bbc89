"""500 faults in heats: how often the trouble desk names the true cause first, and among the first three.

By the report alone, and after one, two and three of the tests that it proposes.

    python3 -m server dev tests.benchmarks.trouble_desk [--faults N] [--seed S]

The faults are injected and seen by the simulation of `tests/allocator/troubled_heats.py`, the tests are done in
that of `tests/allocator/troubled_tests.py`; both say what they assume. "Somebody on in the pits" is one cause,
whoever it is, since one call to the pits tests them all, and so is "products in a receiver that is easy to
overload"; how often the right names stand first is told beside. Where the desk is sure, or has no test left that
tells enough, none is done.
"""

import argparse
from collections import Counter, defaultdict
from collections.abc import Sequence

from server.allocator.trouble import Cause, case_of, rank, ranked
from server.allocator.trouble_choice import is_sure, worth_doing
from tests.allocator.troubled_heats import Trouble, troubles
from tests.allocator.troubled_tests import TestedHeat

FAULTS, SEED = 500, 2026
MOST_TESTS = 3

Places = dict[str, Counter[int | None]]


def is_true(cause: Cause, trouble: Trouble) -> bool:
    """Whether a cause is what was injected."""
    if cause.kind != trouble.kind:
        return False
    return cause.kind in ("pits", "outside", "product") or tuple(sorted(cause.who)) == tuple(
        sorted(trouble.who)
    )


def place_of(causes: Sequence[Cause], trouble: Trouble) -> int | None:
    """Where the true cause stands, from 1; None where it is not listed."""
    return next((place for place, one in enumerate(causes, start=1) if is_true(one, trouble)), None)


def diagnosed(trouble: Trouble, seed: int, most_tests: int = MOST_TESTS) -> list[tuple[Cause, ...]]:
    """The causes by the report alone, and after each further test; the last ones again where none is done."""
    case, heat = case_of(trouble.air, trouble.report), TestedHeat(trouble, seed)
    outcomes: dict[str, str] = {}
    found = [ranked(case, outcomes)]
    for _ in range(most_tests):
        tests = worth_doing(case, outcomes)
        if tests and not is_sure(found[-1]):
            outcomes[tests[0].key] = heat.outcome(tests[0])
        found.append(ranked(case, outcomes))
    return found


def measure(found: Sequence[Trouble], most_tests: int = MOST_TESTS) -> list[Places]:
    """How often the true cause stood where after so many tests, by kind of fault; "all" for all."""
    places: list[Places] = [defaultdict(Counter) for _ in range(most_tests + 1)]
    for seed, trouble in enumerate(found):
        for after, causes in enumerate(diagnosed(trouble, seed, most_tests)):
            place = place_of(causes, trouble)
            places[after][trouble.kind][place] += 1
            places[after]["all"][place] += 1
    return places


def within(places: Counter[int | None], most: int) -> float:
    """Share of the true causes that stood at most so far down."""
    return sum(places[place] for place in range(1, most + 1)) / places.total()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--faults", type=int, default=FAULTS)
    parser.add_argument("--seed", type=int, default=SEED)
    args = parser.parse_args()
    found = troubles(args.faults, args.seed)
    names = {kind: _named(found, kind) for kind in ("pits", "product")}
    places = measure(found)
    print(f"{args.faults} faults, seed {args.seed}: ranks first / in the first three\n")
    print("| fault | how many | report alone | one test | two tests | three tests |")
    print("| --- | ---: | ---: | ---: | ---: | ---: |")
    for kind in [*sorted(one for one in places[0] if one != "all"), "all"]:
        cells = [f"{within(after[kind], 1):.0%} / {within(after[kind], 3):.0%}" for after in places]
        print(f"| {kind} | {places[0][kind].total()} | {' | '.join(cells)} |")
    words = Counter(trouble.report.symptom for trouble in found)
    print(f"\nTold as: {', '.join(f'{word} {count}' for word, count in words.most_common())}.")
    for kind, right in names.items():
        print(f"Of {kind} the right names stand first in {right} of {places[0][kind].total()}.")


def _named(found: Sequence[Trouble], kind: str) -> int:
    return sum(_names(trouble, kind) for trouble in found if trouble.kind == kind)


def _names(trouble: Trouble, kind: str) -> bool:
    causes = [cause for cause in rank(trouble.air, trouble.report) if cause.kind == kind]
    return any(set(cause.who[: len(trouble.who)]) == set(trouble.who) for cause in causes)


if __name__ == "__main__":
    main()
