"""How well what is seen fits a cause: the assumptions of the ranking, as tables.

Common practice, no source, for every number here: they are judgements of how analogue FM pictures fail, written
down so that they can be argued with. `python3 -m server dev tests.benchmarks.trouble_desk` measures what they are
worth against a simulation that does not know them.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

ANOTHER, LINES, SNOW, FLICKER, BLACK = "another picture", "lines", "snow far out", "flicker", "black"
SYMPTOMS = (ANOTHER, LINES, SNOW, FLICKER, BLACK)
"""What is seen: somebody else's picture; lines or bars across one's own; snow that grows with the distance; a
flicker when a certain pilot is near; nothing."""

FROM_START, SUDDENLY = "from the start", "suddenly"
ONSETS = (FROM_START, SUDDENLY)

Character = Literal["picture", "beat", "noise", "off tune"]

PICTURE_WITHIN_MHZ = 12
"""A carrier this close to the receiver's tuning can show its picture; farther off it makes lines."""

CAPTURES_DB, SPOILS_DB = -25.0, -8.0
"""Margins that a cause alone leaves: below the first it is as strong as the wanted carrier, below the second no
picture can be flown with; above, it marks the picture."""

_Row = tuple[float, float, float, float, float]

_MOVING: Mapping[tuple[str, str], _Row] = {
    # chances of another picture, lines, snow far out, flicker, black
    ("picture", "captures"): (0.40, 0.16, 0.08, 0.26, 0.10),
    ("picture", "spoils"): (0.10, 0.40, 0.13, 0.32, 0.05),
    ("picture", "marks"): (0.03, 0.52, 0.17, 0.26, 0.02),
    ("beat", "captures"): (0.05, 0.38, 0.10, 0.35, 0.12),
    ("beat", "spoils"): (0.02, 0.48, 0.14, 0.32, 0.04),
    ("beat", "marks"): (0.01, 0.54, 0.16, 0.28, 0.01),
}
"""Of a cause that flies: it comes and goes with its distance."""

_STILL: Mapping[tuple[str, str], _Row] = {
    ("picture", "captures"): (0.58, 0.15, 0.12, 0.03, 0.12),
    ("picture", "spoils"): (0.22, 0.45, 0.25, 0.03, 0.05),
    ("picture", "marks"): (0.05, 0.53, 0.37, 0.03, 0.02),
    ("beat", "captures"): (0.10, 0.45, 0.17, 0.03, 0.25),
    ("beat", "spoils"): (0.03, 0.60, 0.29, 0.03, 0.05),
    ("beat", "marks"): (0.01, 0.55, 0.40, 0.03, 0.01),
    ("noise", "captures"): (0.02, 0.15, 0.48, 0.02, 0.33),
    ("noise", "spoils"): (0.01, 0.18, 0.66, 0.02, 0.13),
    ("noise", "marks"): (0.01, 0.20, 0.76, 0.02, 0.01),
    ("off tune", "captures"): (0.02, 0.18, 0.42, 0.03, 0.35),
    ("off tune", "spoils"): (0.02, 0.30, 0.55, 0.05, 0.08),
    ("off tune", "marks"): (0.02, 0.45, 0.48, 0.03, 0.02),
}
"""Of a cause that stays where it is: what changes the picture is one's own distance."""

LASTS = 2.0
"""A cause that spoils the picture in the middle of the course too is the more likely seen as lasting."""

NOTICED_AT_DB, NOTICED_WITHIN_DB = -6.0, 4.0
"""Margin at which half of all pilots notice (grade 3.8), and how far levels, labels and receivers smear that."""

SPEAKS_UP, COMPLAINS_OF_NOTHING = 0.5, 0.02
"""Chance that somebody else who notices reports it while the first report is looked at; and without cause."""

_SUDDENLY: Mapping[str, float] = {
    "pits": 0.75,
    "down": 0.5,
    "carrier": 0.25,
    "product": 0.25,
    "wrong channel": 0.2,
    "own channel": 0.15,
    "link": 0.25,
    "outside": 0.4,
    "other": 0.5,
}
"""Chance that a cause sets in while one flies; else it is there from the start."""

NAMED_RIGHT = 0.8
"""Chance that the pilot who is said to be near is the one who causes it, where it is somebody who flies."""


@dataclass(frozen=True)
class Effect:
    """What a cause does at one receiver.

    alone_db   margin that the cause alone leaves at the worst moment
    usual_db   the same with everybody in the middle of the course
    margin_db  margin of the slot with it, all together, at the worst moment
    moves      it flies, so that it comes and goes
    """

    alone_db: float
    usual_db: float
    margin_db: float
    character: Character
    moves: bool


def noticed(margin_db: float) -> float:
    """Chance that a pilot reports a picture with this margin."""
    return 1.0 / (1.0 + math.exp(min(50.0, (margin_db - NOTICED_AT_DB) / NOTICED_WITHIN_DB)))


def told_too(has_told: bool, margin_db: float) -> float:
    """Chance that somebody else in the air, with this margin, has reported trouble or has not."""
    chance = COMPLAINS_OF_NOTHING + SPEAKS_UP * noticed(margin_db)
    return chance if has_told else 1.0 - chance


def seen_as(symptom: str, effect: Effect) -> float:
    """Chance that what a cause does is told in these words."""
    strength = _strength(effect.alone_db)
    rows = _MOVING if effect.moves else _STILL
    chances = dict(zip(SYMPTOMS, rows[effect.character, strength], strict=True))
    if effect.moves:
        lasts = effect.usual_db < SPOILS_DB
        chances[FLICKER] *= 1.0 / LASTS if lasts else LASTS
    return chances[symptom] / sum(chances.values())


def sets_in(onset: str | None, kind: str) -> float:
    """Chance of when it set in; 1 where nobody said."""
    if onset is None:
        return 1.0
    return _SUDDENLY[kind] if onset == SUDDENLY else 1.0 - _SUDDENLY[kind]


def points_at(near: str | None, who: tuple[str, ...], moves: bool, others: int) -> float:
    """Chance that this pilot is named as near, out of `others` who fly; 1 where nobody is."""
    if near is None or others < 1:
        return 1.0
    if not moves or others == 1:
        return 1.0 / others
    if near in who:
        return NAMED_RIGHT / len(who)
    return (1.0 - NAMED_RIGHT) / max(1, others - len(who))


def _strength(alone_db: float) -> str:
    if alone_db < CAPTURES_DB:
        return "captures"
    return "spoils" if alone_db < SPOILS_DB else "marks"
