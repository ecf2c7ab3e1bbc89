"""What is not allowed: an independent judge of finished plans.

It shares no code with the searches: rules are read from the problem, margins come from the radio model, term
by term. A plan that passes breaks no hard rule and claims no margin that it does not have.
"""

import math
from collections import Counter
from dataclasses import replace
from itertools import pairwise

from server.allocator.plan import DayPlan, Heat
from server.allocator.problem import DayProblem, Pilot
from server.radio.interference import Station, heat_margins
from server.wording import gettext as _
from server.wording import marked

CLAIM_TOLERANCE_DB = 0.01


def faults_of(plan: DayPlan, problem: DayProblem) -> tuple[str, ...]:
    """Every hard rule that a plan breaks and every claim that is wrong, as sentences; empty when none."""
    faults = broken_rules(plan, problem)
    for heat in plan.heats:
        faults += _claims(heat, problem)
    margins = [heat.worst_margin_db for heat in plan.heats if heat.worst_margin_db is not None]
    if not _agree(plan.worst_margin_db, min(margins, default=None)):
        faults.append(_("the plan's worst margin is not that of its worst heat"))
    if _or_infinite(plan.worst_margin_db) > _or_infinite(plan.bound_db) + CLAIM_TOLERANCE_DB:
        faults.append(_("the worst margin is above its bound"))
    return tuple(faults)


def broken_rules(plan: DayPlan, problem: DayProblem, flown: int = 0) -> list[str]:
    """Every hard rule that a plan breaks, as sentences; what it claims of itself is not looked at.

    flown  so many heats have been flown: only what is ahead can break a rule. In a round that has begun nobody
           flies twice, but who came late may miss it
    """
    ahead = replace(plan, heats=tuple(heat for heat in plan.heats if heat.number > flown))
    faults = [*_flights(plan, problem, flown), *_together(ahead, problem), *_retunes(ahead, flown)]
    for heat in ahead.heats:
        faults += heat_faults(heat, problem)
    return faults


def _or_infinite(margin_db: float | None) -> float:
    return math.inf if margin_db is None else margin_db


def _agree(claim: float | None, truth: float | None) -> bool:
    if claim is None or truth is None:
        return claim is truth
    return abs(claim - truth) <= CLAIM_TOLERANCE_DB


def heat_faults(heat: Heat, problem: DayProblem) -> list[str]:
    """Hard rules that one heat breaks, as sentences."""
    pilots = {pilot.callsign: pilot for pilot in problem.pilots}
    found = []
    aloft = {slot.callsign for slot in heat.slots}
    for slot in heat.slots:
        pilot = pilots.get(slot.callsign)
        if pilot is None:
            found.append(
                _(
                    "Heat %(number)s: %(callsign)s is not in the roster",
                    number=heat.number,
                    callsign=slot.callsign,
                )
            )
            continue
        found += _own_rules(heat, slot.mhz, pilot, aloft, problem)
    for x, one in enumerate(heat.slots):
        for other in heat.slots[:x]:
            if abs(one.mhz - other.mhz) < problem.minimum_spacing_mhz:
                found.append(
                    _(
                        "Heat %(number)s: %(one)s and %(other)s are %(mhz)s MHz apart, less than %(least)s",
                        number=heat.number,
                        one=other.callsign,
                        other=one.callsign,
                        mhz=abs(one.mhz - other.mhz),
                        least=problem.minimum_spacing_mhz,
                    )
                )
    most = len(problem.pilots) if problem.one_heat else problem.aircraft
    if problem.heats_given is None and len(heat.slots) > most:
        found.append(
            _(
                "Heat %(heat)s: %(number)s fly at once, more than %(aircraft)s",
                heat=heat.number,
                number=len(heat.slots),
                aircraft=most,
            )
        )
    return found


def _own_rules(heat: Heat, mhz: int, pilot: Pilot, aloft: set[str], problem: DayProblem) -> list[str]:
    name = pilot.callsign
    found = []
    if mhz not in pilot.channels_mhz:
        found.append(
            _(
                "Heat %(number)s: %(callsign)s cannot use %(mhz)s MHz",
                number=heat.number,
                callsign=name,
                mhz=mhz,
            )
        )
    if pilot.pin_mhz and mhz not in pilot.pin_mhz:
        found.append(
            _(
                "Heat %(number)s: %(callsign)s is pinned to another channel than %(mhz)s MHz",
                number=heat.number,
                callsign=name,
                mhz=mhz,
            )
        )
    if mhz in problem.bans_mhz:
        found.append(_("Heat %(number)s: %(mhz)s MHz is out of use today", number=heat.number, mhz=mhz))
    for other in sorted(aloft & (pilot.apart | {pilot.spotter or ""}) - {name}):
        found.append(
            _(
                "Heat %(number)s: %(callsign)s and %(other)s must not share a heat",
                number=heat.number,
                callsign=name,
                other=other,
            )
        )
    if problem.heats_given is None:
        if pilot.after is not None and heat.number <= pilot.after:
            found.append(
                _(
                    "Heat %(number)s: %(callsign)s flies only after heat %(after)s",
                    number=heat.number,
                    callsign=name,
                    after=pilot.after,
                )
            )
        if pilot.before is not None and heat.number >= pilot.before:
            found.append(
                _(
                    "Heat %(number)s: %(callsign)s flies only before heat %(before)s",
                    number=heat.number,
                    callsign=name,
                    before=pilot.before,
                )
            )
    return found


def _flights(plan: DayPlan, problem: DayProblem, flown: int) -> list[str]:
    if problem.heats_given is not None or not plan.heats:
        return []
    found = []
    for number in sorted({heat.round for heat in plan.heats if heat.number > flown}):
        heats = [heat for heat in plan.heats if heat.round == number]
        ahead = [heat for heat in heats if heat.number > flown]
        times = Counter(slot.callsign for heat in heats for slot in heat.slots)
        for pilot in problem.pilots:
            could = any(_is_there(pilot, heat.number) for heat in ahead)
            may_miss = len(ahead) < len(heats) and times[pilot.callsign] <= 1
            if times[pilot.callsign] != could and not may_miss:
                found.append(_flies_words(number, pilot.callsign, times[pilot.callsign]))
            if pilot.heat in {heat.number for heat in ahead} and could:
                home = next(heat for heat in heats if heat.number == pilot.heat)
                if pilot.callsign not in {slot.callsign for slot in home.slots}:
                    found.append(
                        _(
                            "Heat %(number)s: %(callsign)s is missing",
                            number=home.number,
                            callsign=pilot.callsign,
                        )
                    )
    return found


def _flies_words(number: int, callsign: str, times: int) -> str:
    values = {"round": number, "callsign": callsign}
    if times == 0:
        return _("Round %(round)s: %(callsign)s does not fly", **values)
    if times == 1:
        return _("Round %(round)s: %(callsign)s flies, but may not", **values)
    if times == 2:
        return _("Round %(round)s: %(callsign)s flies twice", **values)
    return _("Round %(round)s: %(callsign)s flies %(times)s times", times=times, **values)


def _is_there(pilot: Pilot, number: int) -> bool:
    return (pilot.after is None or number > pilot.after) and (pilot.before is None or number < pilot.before)


def _together(plan: DayPlan, problem: DayProblem) -> list[str]:
    if problem.heats_given is not None:
        return []
    heat_of = {(heat.round, slot.callsign): heat.number for heat in plan.heats for slot in heat.slots}
    return [
        _(
            "Round %(number)s: %(callsign)s and %(other)s fly in different heats",
            number=number,
            callsign=pilot.callsign,
            other=other,
        )
        for number in sorted({heat.round for heat in plan.heats})
        for pilot in problem.pilots
        for other in sorted(pilot.together)
        if {(number, pilot.callsign), (number, other)} <= heat_of.keys()
        and heat_of[number, pilot.callsign] != heat_of[number, other]
    ]


def _retunes(plan: DayPlan, flown: int) -> list[str]:
    """Changes of channel from one flight of a pilot to the next that the plan does not own up to.

    Of those that it claims some may lie before the heats ahead.
    """
    flights: dict[str, list[int]] = {}
    for heat in sorted(plan.heats, key=lambda heat: heat.number):
        for slot in heat.slots:
            flights.setdefault(slot.callsign, []).append(slot.mhz)
    changes = {
        name: sum(now != before for before, now in pairwise(own)) for name, own in sorted(flights.items())
    }
    made = sum(changes.values())
    if made == plan.retunes or (flown and made < plan.retunes):
        return []
    if plan.retunes == 0:
        return [
            _(
                "%(callsign)s changes channel between heats: %(channels)s MHz",
                callsign=name,
                channels=", ".join(map(str, sorted(set(flights[name])))),
            )
            for name, times in changes.items()
            if times
        ]
    return [
        _(
            "the plan claims %(retunes)s retunes, but its pilots change channel %(made)s times",
            retunes=plan.retunes,
            made=made,
        )
    ]


def _claims(heat: Heat, problem: DayProblem) -> list[str]:
    pilots = {pilot.callsign: pilot for pilot in problem.pilots}
    if any(slot.callsign not in pilots for slot in heat.slots):
        return []
    stations = [
        Station(
            slot.callsign,
            slot.mhz,
            slot.power_mw,
            pilots[slot.callsign].antenna,
            pilots[slot.callsign].rx_antenna,
            pilots[slot.callsign].gain_dbi,
        )
        for slot in heat.slots
    ]
    margins = heat_margins(stations, problem.site)
    found = []
    for claim, truth, words in (
        (
            heat.worst_margin_db,
            margins.worst_margin_db,
            marked("Heat %(number)s: the worst margin is %(truth)s dB, not %(claim)s dB"),
        ),
        (
            heat.stressed_margin_db,
            margins.stressed_margin_db,
            marked("Heat %(number)s: the stressed margin is %(truth)s dB, not %(claim)s dB"),
        ),
    ):
        if not _agree(claim, truth):
            found.append(_(words, number=heat.number, truth=truth, claim=claim))
    return found
