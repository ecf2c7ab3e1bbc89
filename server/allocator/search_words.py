"""What a search did and what it does not prove, in sentences."""

from server.allocator.given import GivenAnswer
from server.allocator.heat import HeatAnswer
from server.wording import decimal
from server.wording import gettext as _


def given_words(answer: GivenAnswer) -> str:
    """Of heats that were given."""
    if answer.retunes:
        return _(
            "Heats are given. Some pilots change channel between heats, which lifts the worst margin by "
            "the price of a retune or more; that fewer changes would not do is not proved."
        )
    if answer.is_repeated:
        return _(
            "Heats are given. Each was searched by itself for its best worst margin; pilots who fly in "
            "several heats keep one channel, which was improved pilot by pilot and is not proved."
        )
    if answer.is_exact:
        return _("Heats are given. The channels of each are the best by all six stages.")
    return _(
        "Heats are given. The search for their channels was stopped early; the bound says how far "
        "they may be."
    )


def proof_words(answer: HeatAnswer) -> str:
    """Of one heat."""
    if answer.is_exact:
        return _("All six stages were searched to the end: no other channels are better.")
    if answer.is_stress_proved:
        return _("Worst margin and stressed margin are proved; the choice among equals was stopped early.")
    if answer.is_best_proved:
        return _("The best worst margin is proved; the stressed margin was stopped early.")
    return _(
        "The search was stopped before the best worst margin was proved; the bound says how far it may be."
    )


def stressed_words(before_db: float, after_db: float) -> tuple[str, ...]:
    """What exchanges of a settled day brought; nothing where tenths do not show it."""
    before, after = decimal(before_db, 1), decimal(after_db, 1)
    if before == after:
        return ()
    return (
        _(
            "Pilots exchanged heats or channels, which lifts the stressed margin from %(before)s to "
            "%(after)s dB at no cost of worst margin, channels or pairings. That no other exchange lifts "
            "it more is not proved.",
            before=before,
            after=after,
        ),
    )
