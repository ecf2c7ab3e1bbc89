"""What the planner answers: heats with their slots, how good they are, and how sure that is."""

from dataclasses import dataclass
from typing import Literal

Status = Literal["optimal", "feasible", "unflyable", "infeasible"]


@dataclass(frozen=True)
class Slot:
    """One pilot's place in one heat."""

    callsign: str
    mhz: int
    power_mw: float


@dataclass(frozen=True)
class Heat:
    """Pilots in the air together.

    number           1, 2, 3, ... through the whole day
    worst_margin_db  None where fewer than two fly
    proved           the channels are the best that this heat can have, all six stages searched to the end
    """

    number: int
    round: int
    slots: tuple[Slot, ...]
    worst_margin_db: float | None
    stressed_margin_db: float | None
    proved: bool


CureKind = Literal[
    "more heats",
    "more at once",
    "gear",
    "unpin",
    "lift ban",
    "apart",
    "spotter",
    "together",
    "after",
    "before",
    "heat",
    "spacing",
    "take out",
    "leave out",
]


@dataclass(frozen=True)
class Cure:
    """A change of the question after which rules in conflict can hold, as solving it has shown.

    number     aircraft at once, MHz of a channel or of a spacing, or a heat, whatever the kind is about
    callsigns  whose gear, pin or wish it changes
    """

    kind: CureKind
    words: str
    number: int = 0
    callsigns: tuple[str, ...] = ()


@dataclass(frozen=True)
class Conflict:
    """Hard rules that cannot hold together; without any one of them the rest can.

    is_cured_by_one_heat_more  to plan with more heats a round is among the cures
    remedies                   those of the cures that a program can read
    """

    rules: tuple[str, ...]
    explanation: str
    cures: tuple[str, ...]
    is_cured_by_one_heat_more: bool = False
    remedies: tuple[Cure, ...] = ()


@dataclass(frozen=True)
class LevelTried:
    """A common level of power, with what it would mean for the heats and channels of a plan.

    common_mw          everybody sets the highest own step not above it, or the lowest where all are above
    is_for_all         everybody sets just this
    link_db            the weakest link, dB above the FM threshold
    is_link_enough     it keeps the fade allowance
    kept_m             how far the weakest link keeps the fade allowance
    threshold_m        how far it stays above the threshold
    worst_margin_db    of these heats and channels at this level; None where nobody flies with another
    is_chosen          the plan has this level
    """

    common_mw: float
    is_for_all: bool
    link_db: float
    is_link_enough: bool
    kept_m: float
    threshold_m: float
    worst_margin_db: float | None
    is_chosen: bool


@dataclass(frozen=True)
class HotTransmitter:
    """One who transmits with more than the common level, and whom that costs most.

    is_set      the director set this power; else the transmitter cannot go lower
    sufferer    of all who share a heat with it, who has the least margin there; None where nobody does
    heat        the number of that heat
    margin_db   the least margin of the others in its heats as it is, and with this one at the common level
    """

    callsign: str
    power_mw: float
    is_set: bool
    sufferer: str | None = None
    heat: int | None = None
    margin_db: float | None = None
    margin_at_common_db: float | None = None

    @property
    def cost_db(self) -> float:
        """What the others would gain if this one could go as low as they do."""
        if self.margin_db is None or self.margin_at_common_db is None:
            return 0.0
        return self.margin_at_common_db - self.margin_db


@dataclass(frozen=True)
class DayPlan:
    """A plan, or why there is none.

    bound_db         no plan of the day has a better worst margin; with one heat it is W*
    gap_db           bound less worst margin
    retunes          how often a pilot changes channel during the day, from heat to heat
    moves            pilots whose transmitter is set to another channel than the plan has for them
    repeat_pairings  how often pilots meet again whom they have met, over all pairs
    levels           common levels of power, the lowest first
    hot_transmitters who transmits with more than the common level
    search_notes     what the search did and what it does not prove, in sentences
    """

    status: Status
    heats: tuple[Heat, ...] = ()
    worst_margin_db: float | None = None
    bound_db: float | None = None
    gap_db: float | None = None
    stressed_margin_db: float | None = None
    site_ceiling_db: float | None = None
    seconds: float = 0.0
    nodes: int = 0
    retunes: int = 0
    moves: int = 0
    repeat_pairings: int = 0
    day_channels_mhz: tuple[int, ...] = ()
    common_power_mw: float | None = None
    levels: tuple[LevelTried, ...] = ()
    hot_transmitters: tuple[HotTransmitter, ...] = ()
    conflicts: tuple[Conflict, ...] = ()
    warnings: tuple[str, ...] = ()
    search_notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class CompareRow:
    """One row of "how many can fly": aircraft at once, and what that brings.

    why_not  one sentence where no round can be flown so; else empty
    """

    aircraft: int
    heats: int
    worst_margin_db: float | None
    bound_db: float | None
    worst_grade: float
    minutes: float
    why_not: str = ""


@dataclass(frozen=True)
class Progress:
    """What a caller is told between two chunks of work."""

    stage: str
    nodes: int
    best_margin_db: float | None
