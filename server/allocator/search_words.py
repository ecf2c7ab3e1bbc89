"""What a search did and what it does not prove, in sentences."""

from server.allocator.given import GivenAnswer
from server.allocator.heat import HeatAnswer


def tenths(value: float) -> str:
    """With a true minus, never a negative zero."""
    return f"{round(value, 1) + 0.0:.1f}".replace("-", "\N{MINUS SIGN}")


def given_words(answer: GivenAnswer) -> str:
    """Of heats that were given."""
    if answer.retunes:
        return (
            "Heats are given. Some pilots change channel between heats, which lifts the worst margin by the price "
            "of a retune or more; that fewer changes would not do is not proved."
        )
    if answer.is_repeated:
        return (
            "Heats are given. Each was searched by itself for its best worst margin; pilots who fly in several "
            "heats keep one channel, which was improved pilot by pilot and is not proved."
        )
    if answer.is_exact:
        return "Heats are given. The channels of each are the best by all six stages."
    return "Heats are given. The search for their channels was stopped early; the bound says how far they may be."


def proof_words(answer: HeatAnswer) -> str:
    """Of one heat."""
    if answer.is_exact:
        return "All six stages were searched to the end: no other channels are better."
    if answer.is_stress_proved:
        return "Worst margin and stressed margin are proved; the choice among equals was stopped early."
    if answer.is_best_proved:
        return "The best worst margin is proved; the stressed margin was stopped early."
    return "The search was stopped before the best worst margin was proved; the bound says how far it may be."


def stressed_words(before_db: float, after_db: float) -> tuple[str, ...]:
    """What exchanges of a settled day brought; nothing where tenths do not show it."""
    before, after = tenths(before_db), tenths(after_db)
    if before == after:
        return ()
    return (
        f"Pilots exchanged heats or channels, which lifts the stressed margin from {before} to {after} dB at no "
        "cost of worst margin, channels or pairings. That no other exchange lifts it more is not proved.",
    )
