"""The hard rules of a day, one by one, so that any of them can be lifted."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from server.allocator.feasibility import RoundRules
from server.allocator.problem import DayProblem, Pilot
from server.allocator.schedule import Frame, frame_of, takes_part
from server.wording import gettext as _
from server.wording import ngettext

Kind = Literal[
    "tunes",
    "pin",
    "ban",
    "apart",
    "together",
    "after",
    "before",
    "heat",
    "given",
    "spacing",
    "capacity",
    "heats",
    "channel",
]

_NO_MATTER_WHEN = 10**9


@dataclass(frozen=True)
class Rule:
    """One hard rule.

    rows    the pilots it binds, by index; empty: everybody
    number  MHz of a ban, number of a given heat; else 0
    words   as it stands in a list; those of a rule with rows begin with a callsign
    """

    kind: Kind
    rows: tuple[int, ...] = ()
    number: int = 0
    words: str = field(default="", compare=False)


def all_rules(problem: DayProblem) -> list[Rule]:
    """Every hard rule of a day, in words; what binds everybody comes last."""
    return [
        *_tuning_rules(problem),
        *_apart_rules(problem),
        *_together_rules(problem),
        *_presence_rules(problem),
        *_given_rules(problem),
        *_common_rules(problem),
    ]


def round_rules(problem: DayProblem, rules: Collection[Rule] | None = None, number: int = 1) -> RoundRules:
    """The hard rules of one round, or only those of them that are named.

    A pilot who misses the round binds nobody in it. Where the number of heats is lifted, each pilot finds a heat
    more at the end of the round, if present by then.
    """
    frame = frame_of(problem)
    kept = frozenset(all_rules(problem) if rules is None else rules)
    count = len(problem.pilots)
    flies = takes_part(problem, frame, number)
    apart, together = np.zeros((2, count, count), dtype=np.bool_)
    for rule in kept:
        if rule.kind in ("apart", "together"):
            table = apart if rule.kind == "apart" else together
            x, y = rule.rows
            table[x, y] = table[y, x] = flies[x] and flies[y]
    return RoundRules(
        choices=[
            choices_under(problem, row, kept) if flies[row] else None for row in range(len(problem.pilots))
        ],
        allowed=_allowed(problem, frame, number, kept),
        apart=apart,
        together=_closed(together),
        capacity=problem.aircraft if Rule("capacity") in kept else count,
        spacing_mhz=problem.minimum_spacing_mhz if Rule("spacing") in kept else 0,
    )


def choices_under(problem: DayProblem, row: int, kept: Collection[Rule]) -> tuple[int, ...] | None:
    """Channels in MHz that some rules leave to a pilot, ascending; None: any."""
    pilot = problem.pilots[row]
    left: set[int] | None = set(pilot.channels_mhz) if Rule("tunes", (row,)) in kept else None
    if Rule("pin", (row,)) in kept:
        left = set(pilot.pin_mhz) if left is None else left & set(pilot.pin_mhz)
    if left is None:
        return None
    return tuple(sorted(mhz for mhz in left if Rule("ban", (), mhz) not in kept))


def who_is_never_there(problem: DayProblem, kept: Collection[Rule]) -> list[int]:
    """Pilots, by index, whom some rules let fly in no heat of the whole day."""
    frame = frame_of(problem)
    last = frame.heats * rounds_of(problem)
    # With as many heats as one likes, some heat flies after anybody has come.
    numbers = [*range(1, last + 1), *([] if Rule("heats") in kept else [_NO_MATTER_WHEN])]
    return [
        row
        for row in range(len(problem.pilots))
        if not any(_may_be_there(problem.pilots[row], row, number, kept) for number in numbers)
    ]


def rounds_of(problem: DayProblem) -> int:
    """How often through the roster; one heat is one round."""
    return 1 if problem.one_heat else problem.rounds


def bound_rows(rules: Collection[Rule]) -> list[int]:
    """The pilots whom rules bind by name, ascending; nobody else can be in the way of these rules."""
    return sorted({row for rule in rules for row in rule.rows})


def _allowed(problem: DayProblem, frame: Frame, number: int, kept: Collection[Rule]) -> np.ndarray:
    first = (number - 1) * frame.heats + 1
    numbers = range(first, first + frame.heats)
    count = len(problem.pilots)
    more = 0 if Rule("heats") in kept else count
    allowed = np.ones((count, frame.heats + more), dtype=np.bool_)
    for row in np.flatnonzero(takes_part(problem, frame, number)).tolist():
        pilot = problem.pilots[row]
        allowed[row, : frame.heats] = [_may_be_there(pilot, row, one, kept) for one in numbers]
        # A heat more at the end of a round flies before the first of the next one.
        is_late_there = (
            pilot.before is None or pilot.before > numbers[-1] or Rule("before", (row,)) not in kept
        )
        allowed[row, frame.heats :] = is_late_there and (
            pilot.after is None or pilot.after <= numbers[-1] or Rule("after", (row,)) not in kept
        )
        if pilot.heat in numbers and Rule("heat", (row,)) in kept:
            allowed[row] &= np.arange(first, first + frame.heats + more) == pilot.heat
    return allowed


def _may_be_there(pilot: Pilot, row: int, number: int, kept: Collection[Rule]) -> bool:
    after = pilot.after is not None and number <= pilot.after and Rule("after", (row,)) in kept
    before = pilot.before is not None and number >= pilot.before and Rule("before", (row,)) in kept
    return not after and not before


def _closed(together: np.ndarray) -> np.ndarray:
    closed = together.copy()
    for middle in range(len(closed)):
        closed |= np.outer(closed[:, middle], closed[middle])
    np.fill_diagonal(closed, False)
    return closed


def _tuning_rules(problem: DayProblem) -> Iterator[Rule]:
    for row, pilot in enumerate(problem.pilots):
        own = sorted(set(pilot.channels_mhz))
        if not own:
            yield Rule(
                "tunes",
                (row,),
                words=_("%(callsign)s can use no channel of this day", callsign=pilot.callsign),
            )
        else:
            yield Rule(
                "tunes",
                (row,),
                words=_(
                    "%(callsign)s can use only %(channels)s",
                    callsign=pilot.callsign,
                    channels=channels_words(own),
                ),
            )
    for row, pilot in enumerate(problem.pilots):
        if pilot.pin_mhz:
            pinned = channels_words(sorted(set(pilot.pin_mhz)))
            yield Rule(
                "pin",
                (row,),
                words=_("%(callsign)s is pinned to %(channels)s", callsign=pilot.callsign, channels=pinned),
            )
    wanted = {mhz for pilot in problem.pilots for mhz in (*pilot.channels_mhz, *pilot.pin_mhz)}
    for mhz in sorted(wanted & set(problem.bans_mhz)):
        yield Rule("ban", number=mhz, words=_("%(mhz)s MHz is out of use today", mhz=mhz))


def channels_words(mhz: Sequence[int]) -> str:
    """ "5658 or 5732 MHz"; how many, and from where to where, if they are more than three."""
    if len(mhz) > 3:
        return _("%(number)s channels, %(low)s to %(high)s MHz", number=len(mhz), low=mhz[0], high=mhz[-1])
    return f"{_(' or ').join(str(one) for one in mhz)} MHz"


def _apart_rules(problem: DayProblem) -> Iterator[Rule]:
    names = [pilot.callsign for pilot in problem.pilots]
    for x, y in _named_pairs(problem, "apart"):
        one, other = problem.pilots[x], problem.pilots[y]
        words = _("%(one)s and %(other)s never share a heat", one=names[x], other=names[y])
        if _is_for_spotter(one, other):
            spotter, flyer = (names[y], names[x]) if one.spotter == names[y] else (names[x], names[y])
            words = _("%(spotter)s spots for %(flyer)s", spotter=spotter, flyer=flyer)
        yield Rule("apart", (x, y), words=words)


def is_for_spotter(problem: DayProblem, rule: Rule) -> bool:
    """Whether two pilots are kept apart only because one of them spots for the other."""
    one, other = (problem.pilots[row] for row in rule.rows)
    return _is_for_spotter(one, other)


def _is_for_spotter(one: Pilot, other: Pilot) -> bool:
    return other.callsign not in one.apart and one.callsign not in other.apart


def _together_rules(problem: DayProblem) -> Iterator[Rule]:
    names = [pilot.callsign for pilot in problem.pilots]
    for x, y in _named_pairs(problem, "together"):
        yield Rule(
            "together",
            (x, y),
            words=_("%(one)s and %(other)s always fly in the same heat", one=names[x], other=names[y]),
        )


def _named_pairs(problem: DayProblem, kind: str) -> list[tuple[int, int]]:
    """Pairs, by index, of whom one names the other; given heats know no "together"."""
    if kind == "together" and problem.heats_given is not None:
        return []
    index = {pilot.callsign: row for row, pilot in enumerate(problem.pilots)}
    found = set()
    for row, pilot in enumerate(problem.pilots):
        named = pilot.together if kind == "together" else pilot.apart | {pilot.spotter or ""}
        found |= {(min(row, index[name]), max(row, index[name])) for name in named if name in index}
    return sorted(pair for pair in found if pair[0] != pair[1])


def _presence_rules(problem: DayProblem) -> Iterator[Rule]:
    if problem.heats_given is not None:
        return
    frame = frame_of(problem)
    last = frame.heats * rounds_of(problem)
    for row, pilot in enumerate(problem.pilots):
        if pilot.after is not None and pilot.after >= 1:
            yield Rule(
                "after",
                (row,),
                words=_(
                    "%(callsign)s is there only after heat %(after)s",
                    callsign=pilot.callsign,
                    after=pilot.after,
                ),
            )
        if pilot.before is not None and pilot.before <= last:
            yield Rule(
                "before",
                (row,),
                words=_(
                    "%(callsign)s is there only before heat %(before)s",
                    callsign=pilot.callsign,
                    before=pilot.before,
                ),
            )
        if pilot.heat is not None and 1 <= pilot.heat <= last:
            yield Rule(
                "heat",
                (row,),
                words=_("%(callsign)s is set for heat %(heat)s", callsign=pilot.callsign, heat=pilot.heat),
            )


def _given_rules(problem: DayProblem) -> Iterator[Rule]:
    index = {pilot.callsign: row for row, pilot in enumerate(problem.pilots)}
    for number, heat in enumerate(problem.heats_given or (), start=1):
        if not heat:
            continue
        rows = tuple(sorted(index[name] for name in heat))
        words = ngettext(
            "%(callsigns)s flies in heat %(heat)s",
            "%(callsigns)s fly in heat %(heat)s",
            len(heat),
            callsigns=names_words(heat),
            heat=number,
        )
        yield Rule("given", rows, number, words=words)


def _common_rules(problem: DayProblem) -> Iterator[Rule]:
    spacing = problem.minimum_spacing_mhz
    if spacing:
        yield Rule("spacing", words=_("No two pilots of a heat are closer than %(mhz)s MHz", mhz=spacing))
    if problem.heats_given is None:
        if not problem.one_heat:
            yield Rule("capacity", words=_("At most %(aircraft)s fly at once", aircraft=problem.aircraft))
        yield Rule("heats", words=_heats_words(problem))
    if problem.heats_given is not None or rounds_of(problem) > 1:
        yield Rule("channel", words=_("Everybody keeps one channel all day"))


def _heats_words(problem: DayProblem) -> str:
    heats, rounds = frame_of(problem).heats, rounds_of(problem)
    if problem.one_heat:
        return _("Everybody flies in one heat")
    if rounds == 1:
        return ngettext("There is %(number)s heat", "There are %(number)s heats", heats)
    return ngettext(
        "A round has %(number)s heat, and there are %(rounds)s rounds",
        "A round has %(number)s heats, and there are %(rounds)s rounds",
        heats,
        rounds=rounds,
    )


def names_words(names: Sequence[str]) -> str:
    """ "Wren", "Wren and Rook", "Wren, Rook and Coot"."""
    *first, last = names
    return _("%(first)s and %(last)s", first=", ".join(first), last=last) if first else last
