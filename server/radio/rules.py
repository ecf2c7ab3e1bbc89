"""Spectrum rules as data, and whether a transmission lies within the rules chosen for a day.

A rule set never says that something is legal: it says what was chosen, where that was read and how sure
it is. Flagged ranges, where radars work, stay flagged whatever is chosen.
"""

import math
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from server.radio import decibels
from server.radio.errors import RuleError
from server.radio.said import said

FLAGGED_RANGES: tuple[tuple[int, int], ...] = ((5350, 5460), (5600, 5650))
"""MHz. Aeronautical radionavigation (ITU Radio Regulations table; 47 CFR 15.205); weather radars (5.452)."""

LABEL_TOLERANCE_DB = 3.0
"""A label of power is this uncertain, so an e.i.r.p. no higher above the limit is a warning."""

WHO_DECIDES = said("Local rules and the licensed operator decide.")

HOW_SURE: Mapping[str, str] = {
    "S": said("read in a copy of a public page"),
    "M": said("from memory, not confirmed by reading"),
    "D": said("follows by arithmetic"),
    "own": said("entered by the organiser"),
}

PLAIN_FACTS = (
    "name",
    "tested_width",
    "most_transmitters",
    "licence_needed",
    "conditions",
    "source",
    "year",
    "tag",
)
"""What a rule set says besides its ranges."""

WIDTHS = ("occupied", "necessary")
_LOWEST_MHZ, _HIGHEST_MHZ = 1000.0, 10000.0


@dataclass(frozen=True)
class RuleRange:
    """A piece of spectrum in MHz, with the highest e.i.r.p. in mW or None where no number is set."""

    low_mhz: float
    high_mhz: float
    max_eirp_mw: float | None = None

    def __post_init__(self) -> None:
        for edge_mhz in (self.low_mhz, self.high_mhz):
            if not _is_number(edge_mhz) or not _LOWEST_MHZ <= edge_mhz <= _HIGHEST_MHZ:
                problem = said("an edge of a range cannot be %(mhz)s", mhz=str(edge_mhz))
                cure = said(
                    "give MHz from %(low)s to %(high)s, such as 5725", low=_LOWEST_MHZ, high=_HIGHEST_MHZ
                )
                raise RuleError(edge_mhz, problem, cure)
        if self.low_mhz >= self.high_mhz:
            problem = said(
                "the range %(low)s-%(high)s runs backwards or is empty",
                low=float(self.low_mhz),
                high=float(self.high_mhz),
            )
            raise RuleError(self.low_mhz, problem, said("give the lower edge first, such as 5725-5875"))
        limit_mw = self.max_eirp_mw
        if limit_mw is not None and (not _is_number(limit_mw) or limit_mw <= 0):
            problem = said("the highest e.i.r.p. cannot be %(power)s", power=str(limit_mw))
            raise RuleError(limit_mw, problem, said("give mW above 0, such as 25, or leave it out"))

    def holds(self, mhz: float, width_mhz: float) -> bool:
        """Whether both edges of a signal this wide, centred on mhz, lie inside."""
        return self.low_mhz <= mhz - width_mhz / 2 and mhz + width_mhz / 2 <= self.high_mhz


@dataclass(frozen=True)
class RuleSet:
    """Rules that can be chosen for a day.

    tested_width       "occupied" or "necessary": which width has to lie inside one range
    most_transmitters  at once, None where no number is set
    year               of the source or of the copy that was read, None where not known
    tag                how sure, a key of HOW_SURE
    """

    key: str
    name: str
    ranges: tuple[RuleRange, ...]
    tested_width: str = "occupied"
    most_transmitters: int | None = None
    licence_needed: bool = False
    conditions: str = ""
    source: str = ""
    year: int | None = None
    tag: str = "own"

    def __post_init__(self) -> None:
        if not self.ranges:
            cure = said("give at least one, such as 5725-5875")
            raise RuleError((), said("a rule set cannot be without ranges"), cure)
        if self.tested_width not in WIDTHS:
            cure = said("write %(one)s or %(other)s", one=WIDTHS[0], other=WIDTHS[1])
            problem = said("the tested width cannot be %(width)s", width=self.tested_width)
            raise RuleError(self.tested_width, problem, cure)
        if self.tag not in HOW_SURE:
            cure = said("write %(names)s", names=", ".join(HOW_SURE))
            problem = said("the tag of how sure a rule is cannot be %(tag)s", tag=self.tag)
            raise RuleError(self.tag, problem, cure)
        most = self.most_transmitters
        if most is not None and (isinstance(most, bool) or not isinstance(most, int) or most < 1):
            cure = said("give a whole number from 1, or leave it out")
            problem = said("the number of transmitters at once cannot be %(number)s", number=str(most))
            raise RuleError(most, problem, cure)

    @property
    def how_sure(self) -> str:
        return HOW_SURE[self.tag]


@dataclass(frozen=True)
class Verdict:
    """What a rule set says of one transmission.

    inside    within the rules chosen for this day (an e.i.r.p. up to 3 dB above the limit is, with a warning)
    flagged   touches a flagged range; never in an automatic plan
    warnings  sentences for the pilot
    reasons   sentences, why it is not inside or is flagged
    """

    inside: bool
    flagged: bool
    warnings: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()

    @property
    def is_plannable(self) -> bool:
        """Whether an automatic plan may use it."""
        return self.inside and not self.flagged


def judge(mhz: float, eirp_mw: float, rule_set: RuleSet, width_mhz: float) -> Verdict:
    """Whether a transmission lies within a rule set.

    mhz        carrier
    eirp_mw    transmitter power times antenna gain
    width_mhz  the width that the rule set tests, in full
    """
    flags = _flags(mhz, width_mhz)
    holding = [one for one in rule_set.ranges if one.holds(mhz, width_mhz)]
    if not holding:
        listed = ", ".join(f"{one.low_mhz:g}-{one.high_mhz:g}" for one in rule_set.ranges)
        low_mhz, high_mhz = mhz - width_mhz / 2, mhz + width_mhz / 2
        outside = said(
            "%(mhz)s MHz reaches from %(low)s to %(high)s MHz, outside %(ranges)s MHz.",
            mhz=float(mhz),
            low=low_mhz,
            high=high_mhz,
            ranges=listed,
        )
        return Verdict(False, bool(flags), (), (outside, *flags))
    # Where ranges overlap, the most generous one is the rule that applies.
    limit_mw = max(math.inf if one.max_eirp_mw is None else one.max_eirp_mw for one in holding)
    excess_db = float(decibels.db_from_power_ratio(eirp_mw / limit_mw))
    if excess_db <= 0:
        return Verdict(True, bool(flags), (), flags)
    above = {"power": float(f"{eirp_mw:.4g}"), "limit": float(limit_mw), "rules": rule_set.name}
    if excess_db > LABEL_TOLERANCE_DB:
        over = said("%(power)s mW e.i.r.p. is above the %(limit)s mW of %(rules)s.", **above)
        return Verdict(False, bool(flags), (), (over, *flags))
    slightly = said(
        "%(power)s mW e.i.r.p. is above the %(limit)s mW of %(rules)s, by no more than a label is uncertain.",
        **above,
    )
    return Verdict(True, bool(flags), (slightly,), flags)


def touches_flagged(mhz: float, width_mhz: float) -> bool:
    """Whether a signal this wide overlaps a range where radars work."""
    return bool(_flags(mhz, width_mhz))


def allowed_mhz(candidates_mhz: Iterable[int], rule_set: RuleSet, width_mhz: float) -> tuple[int, ...]:
    """The carriers that an automatic plan may use, whatever their power; ascending."""
    return tuple(
        mhz
        for mhz in sorted(set(candidates_mhz))
        if any(one.holds(mhz, width_mhz) for one in rule_set.ranges) and not touches_flagged(mhz, width_mhz)
    )


def rule_set_named(name: str) -> RuleSet:
    """The built-in rule set with this key or name, any case. Raises RuleError."""
    wanted = name.strip().casefold()
    for rule_set in RULE_SETS.values():
        if wanted in (rule_set.key, rule_set.name.casefold()):
            return rule_set
    cure = said("write one of %(names)s, or give ranges of your own", names=", ".join(RULE_SETS))
    raise RuleError(name, said("there is no rule set %(name)s", name=name), cure)


def rule_set_from(key: str, facts: Mapping[str, Any]) -> RuleSet:
    """A rule set from the plain values of a file or a stored copy. Raises RuleError.

    Ranges are [low MHz, high MHz] or [low MHz, high MHz, highest e.i.r.p. in mW].
    """
    ranges = tuple(_range_from(one) for one in facts["ranges"])
    return RuleSet(key=key, **{**facts, "ranges": ranges})


def facts_of(rule_set: RuleSet) -> dict[str, Any]:
    """The plain values that `rule_set_from` turns into the same rule set."""
    ranges = [[one.low_mhz, one.high_mhz, one.max_eirp_mw] for one in rule_set.ranges]
    return {**{name: getattr(rule_set, name) for name in PLAIN_FACTS}, "ranges": ranges}


def _range_from(edges: object) -> RuleRange:
    if not isinstance(edges, Sequence) or isinstance(edges, str) or len(edges) not in (2, 3):
        cure = said(
            "write [low MHz, high MHz, highest e.i.r.p. in mW], such as [5725, 5875, 25] or [5725, 5875]"
        )
        raise RuleError(edges, said("a range cannot be %(edges)s", edges=str(edges)), cure)
    return RuleRange(*edges)


def _flags(mhz: float, width_mhz: float) -> tuple[str, ...]:
    return tuple(
        said(
            "%(mhz)s MHz touches %(low)s-%(high)s MHz, where radars work.",
            mhz=float(mhz),
            low=low_mhz,
            high=high_mhz,
        )
        for low_mhz, high_mhz in FLAGGED_RANGES
        if mhz - width_mhz / 2 < high_mhz and low_mhz < mhz + width_mhz / 2
    )


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < math.inf


def _read_rule_sets() -> dict[str, RuleSet]:
    with Path(__file__).with_name("rule_sets.toml").open("rb") as file:
        return {key: rule_set_from(key, facts) for key, facts in tomllib.load(file).items()}


RULE_SETS: Mapping[str, RuleSet] = _read_rule_sets()
"""The rule sets that come with Bandstand, by key, in the order in which they are offered."""
