"""What cures a conflict: each is tried by solving the day as it would be; what cures nothing is not named."""

from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from itertools import islice

from server.allocator.day_rules import Rule, all_rules, bound_rows
from server.allocator.feasibility import UndecidedError
from server.allocator.holding import can_hold
from server.allocator.plan import Cure
from server.allocator.problem import DayProblem, Pilot
from server.allocator.schedule import frame_of
from server.wording import gettext as _
from server.wording import ngettext

MOST_OFFERED_AT_ONCE = 8
"""Above that no common set of channels serves; the table of how many can fly ends there too."""

MOST_OF_A_KIND = 3
"""Nine pilots of one pin are nine pins to lift, of which any will do: three make that clear."""


def cures_of(problem: DayProblem, needed: Sequence[Rule]) -> list[Cure]:
    """Cures of rules that cannot hold together, those that concern everybody's heats first."""
    ordered = sorted(needed, key=lambda rule: rule.kind not in ("heats", "capacity"))
    found: list[Cure] = []
    named = Counter[str]()
    for rule in ordered:
        if named[rule.kind] == MOST_OF_A_KIND:
            continue
        cure = _first_that_helps(problem, rule, needed)
        if cure is not None:
            found.append(cure)
            named[rule.kind] += 1
    found += islice(_taken_out(problem, needed), MOST_OF_A_KIND)
    return found or list(islice(_left_out(problem, needed), MOST_OF_A_KIND))


def _first_that_helps(problem: DayProblem, rule: Rule, needed: Sequence[Rule]) -> Cure | None:
    """The first cure of a kind that helps; of how many fly at once, rather one that mends the whole day."""
    first, wanted = None, _keys(problem, needed)
    for cure, trial in _TRIALS[rule.kind](problem, rule):
        if not _holds(trial, wanted):
            continue
        if rule.kind not in ("heats", "capacity") or _holds(trial, _keys(trial, all_rules(trial))):
            return cure
        first = first or cure
    return first


Key = tuple[str, int, tuple[str, ...]]


def _holds(trial: DayProblem, wanted: Collection[Key]) -> bool:
    """Whether the rules that conflicted hold in a changed day, together with all that binds everybody in it."""
    kept = [rule for rule in all_rules(trial) if not rule.rows or _key(trial, rule) in wanted]
    try:
        return can_hold(trial, kept)
    except UndecidedError:
        return False


def _keys(problem: DayProblem, rules: Sequence[Rule]) -> set[Key]:
    return {_key(problem, rule) for rule in rules}


def _key(problem: DayProblem, rule: Rule) -> Key:
    """The same rule in a changed day; a given heat is the same one with other pilots in it."""
    if rule.kind == "given":
        return rule.kind, rule.number, ()
    return rule.kind, rule.number, tuple(problem.pilots[row].callsign for row in rule.rows)


Trials = Iterator[tuple[Cure, DayProblem]]


def _with_pilot(problem: DayProblem, row: int, pilot: Pilot) -> DayProblem:
    return problem.with_pilots((*problem.pilots[:row], pilot, *problem.pilots[row + 1 :]))


def _more_heats(problem: DayProblem, _rule: Rule) -> Trials:
    """Fewer at once, so that a round has one heat more, or as many more as it takes."""
    heats, count = frame_of(problem).heats, len(problem.pilots)
    most = count if problem.one_heat else min(problem.aircraft, count)
    for aircraft in range(most - 1, 0, -1):
        trial = replace(problem, aircraft=aircraft, one_heat=False)
        more = frame_of(trial).heats - heats
        if more > 0:
            words = ngettext(
                "Plan one heat more, at most %(aircraft)s at once",
                "Plan %(number)s heats more, at most %(aircraft)s at once",
                more,
                aircraft=aircraft,
            )
            yield Cure("more heats", words, aircraft), trial


def _more_at_once(problem: DayProblem, _rule: Rule) -> Trials:
    for aircraft in range(problem.aircraft + 1, MOST_OFFERED_AT_ONCE + 1):
        yield (
            Cure("more at once", _("Let %(aircraft)s fly at once", aircraft=aircraft), aircraft),
            replace(problem, aircraft=aircraft),
        )


def _other_gear(problem: DayProblem, rule: Rule) -> Trials:
    """One more channel of the day for a pilot; the first that helps is named."""
    (row,) = rule.rows
    pilot = problem.pilots[row]
    for mhz in sorted({mhz for one in problem.pilots for mhz in one.channels_mhz} - set(pilot.channels_mhz)):
        cure = Cure(
            "gear",
            _("Give %(callsign)s gear that can use %(mhz)s MHz too", callsign=pilot.callsign, mhz=mhz),
            mhz,
            (pilot.callsign,),
        )
        yield cure, _with_pilot(problem, row, replace(pilot, channels_mhz=(*pilot.channels_mhz, mhz)))


def _no_pin(problem: DayProblem, rule: Rule) -> Trials:
    (row,) = rule.rows
    pilot = problem.pilots[row]
    cure = Cure("unpin", _("Lift %(callsign)s's pin", callsign=pilot.callsign), callsigns=(pilot.callsign,))
    yield cure, _with_pilot(problem, row, replace(pilot, pin_mhz=()))


def _no_ban(problem: DayProblem, rule: Rule) -> Trials:
    left = tuple(mhz for mhz in problem.bans_mhz if mhz != rule.number)
    yield (
        Cure("lift ban", _("Use %(mhz)s MHz again", mhz=rule.number), rule.number),
        replace(problem, bans_mhz=left),
    )


def _not_apart(problem: DayProblem, rule: Rule) -> Trials:
    one, other = (problem.pilots[row] for row in rule.rows)
    pair = {one.callsign, other.callsign}
    free = [
        replace(
            pilot,
            apart=pilot.apart - pair,
            spotter=None if pilot.spotter in pair else pilot.spotter,
        )
        for pilot in (one, other)
    ]
    words = _(
        "Let %(callsign)s and %(other)s share a heat",
        callsign=one.callsign,
        other=other.callsign,
    )
    spotted = [pilot for pilot in (one, other) if pilot.spotter in pair - {pilot.callsign}]
    if spotted:
        pilots = _(" and for ").join(pilot.callsign for pilot in spotted)
        words = _("Let somebody else spot for %(pilots)s", pilots=pilots)
        if any(pilot.apart & pair for pilot in (one, other)):
            words = _(
                "Let somebody else spot for %(pilots)s, and let %(callsign)s and %(other)s share a heat",
                pilots=pilots,
                callsign=one.callsign,
                other=other.callsign,
            )
    trial = _with_pilot(_with_pilot(problem, rule.rows[0], free[0]), rule.rows[1], free[1])
    yield Cure("spotter" if spotted else "apart", words, callsigns=(one.callsign, other.callsign)), trial


def _not_together(problem: DayProblem, rule: Rule) -> Trials:
    one, other = (problem.pilots[row] for row in rule.rows)
    pair = {one.callsign, other.callsign}
    free = [replace(pilot, together=pilot.together - pair) for pilot in (one, other)]
    trial = _with_pilot(_with_pilot(problem, rule.rows[0], free[0]), rule.rows[1], free[1])
    words = _(
        "Let %(callsign)s and %(other)s fly in different heats",
        callsign=one.callsign,
        other=other.callsign,
    )
    yield Cure("together", words, callsigns=(one.callsign, other.callsign)), trial


def _from_the_start(problem: DayProblem, rule: Rule) -> Trials:
    (row,) = rule.rows
    pilot = problem.pilots[row]
    cure = Cure(
        "after",
        _("Have %(callsign)s there from the first heat", callsign=pilot.callsign),
        callsigns=(pilot.callsign,),
    )
    yield cure, _with_pilot(problem, row, replace(pilot, after=None))


def _to_the_end(problem: DayProblem, rule: Rule) -> Trials:
    (row,) = rule.rows
    pilot = problem.pilots[row]
    cure = Cure(
        "before",
        _("Have %(callsign)s stay to the last heat", callsign=pilot.callsign),
        callsigns=(pilot.callsign,),
    )
    yield cure, _with_pilot(problem, row, replace(pilot, before=None))


def _any_heat(problem: DayProblem, rule: Rule) -> Trials:
    (row,) = rule.rows
    pilot = problem.pilots[row]
    cure = Cure(
        "heat", _("Let %(callsign)s fly in any heat", callsign=pilot.callsign), callsigns=(pilot.callsign,)
    )
    yield cure, _with_pilot(problem, row, replace(pilot, heat=None))


def _less_spacing(problem: DayProblem, _rule: Rule) -> Trials:
    """The widest smaller spacing that helps, down to where the signals themselves would overlap."""
    mhz = sorted({mhz for pilot in problem.pilots for mhz in problem.choices_mhz(pilot)})
    gaps = {high - low for place, high in enumerate(mhz) for low in mhz[:place]}
    least = problem.site.receiver.occupied_mhz
    for spacing in sorted((gap for gap in gaps if least <= gap < problem.minimum_spacing_mhz), reverse=True):
        words = _("Allow %(mhz)s MHz between two pilots of a heat", mhz=spacing)
        yield Cure("spacing", words, spacing), replace(problem, minimum_spacing_mhz=spacing)


def _none(_problem: DayProblem, _rule: Rule) -> Trials:
    yield from ()


def _taken_out(problem: DayProblem, needed: Sequence[Rule]) -> Iterator[Cure]:
    """One pilot fewer in one given heat."""
    for rule in needed:
        if rule.kind != "given":
            continue
        heats = problem.heats_given or ()
        for name in heats[rule.number - 1]:
            left = tuple(other for other in heats[rule.number - 1] if other != name)
            heats_left = (*heats[: rule.number - 1], left, *heats[rule.number :])
            if _holds(replace(problem, heats_given=heats_left), _keys(problem, needed)):
                yield Cure(
                    "take out",
                    _("Take %(callsign)s out of heat %(heat)s", callsign=name, heat=rule.number),
                    rule.number,
                    (name,),
                )


def _left_out(problem: DayProblem, needed: Sequence[Rule]) -> Iterator[Cure]:
    """One pilot fewer all day: what is left to do where nothing else helps."""
    for row in bound_rows(needed):
        name = problem.pilots[row].callsign
        trial = problem.with_pilots((*problem.pilots[:row], *problem.pilots[row + 1 :]))
        if problem.heats_given is None and trial.pilots and _holds(trial, _keys(problem, needed)):
            yield Cure("leave out", _("Plan without %(callsign)s", callsign=name), callsigns=(name,))


_TRIALS = {
    "heats": _more_heats,
    "capacity": _more_at_once,
    "tunes": _other_gear,
    "pin": _no_pin,
    "ban": _no_ban,
    "apart": _not_apart,
    "together": _not_together,
    "after": _from_the_start,
    "before": _to_the_end,
    "heat": _any_heat,
    "spacing": _less_spacing,
    "given": _none,
    "channel": _none,
}
