"""From a roster and a site file to the question that the planner answers."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from server.allocator.plan import Conflict
from server.allocator.problem import DayProblem
from server.radio import rules
from server.radio.channels import CATALOGUE
from server.radio.tuning import parse_tuning
from server.services.gear import assumption_words
from server.services.power_words import above_rules_words
from server.services.roster import RosterPilot
from server.services.site_settings import USUAL_BANDS, SiteSettings
from server.services.usable import UsableToday, planner_pilot, rules_width_mhz, usable_today
from server.wording import gettext as _
from server.wording import listed


@dataclass(frozen=True)
class Brief:
    """What is asked, what is known to be impossible before asking, and what the reader must be told.

    labels  each pilot's own names of channels, by callsign
    """

    problem: DayProblem
    settings: SiteSettings
    labels: Mapping[str, Mapping[int, str]]
    conflicts: tuple[Conflict, ...] = ()
    warnings: tuple[str, ...] = ()


def brief(
    pilots: Sequence[RosterPilot],
    settings: SiteSettings,
    heats_given: tuple[tuple[str, ...], ...] | None = None,
    **search: Any,
) -> Brief:
    """The day's question.

    heats_given  callsigns by heat; pilots in none of them do not fly
    search       one_heat, node_limit, time_limit_s and seed of the planner's problem, where given

    Raises ProblemError where the question contradicts itself.
    """
    warnings: list[str] = []
    flying = list(pilots)
    if heats_given is not None:
        named = {callsign for heat in heats_given for callsign in heat}
        flying = [pilot for pilot in pilots if pilot.callsign in named]
        warnings += [
            _("%(callsign)s is in no given heat.", callsign=one.callsign)
            for one in pilots
            if one.callsign not in named
        ]
    carriers = allowed_mhz(settings, (mhz for pilot in flying for mhz in pilot.setup.usable_mhz))
    width_mhz = rules_width_mhz(settings.rule_set, settings.site.receiver)
    usable = {
        one.callsign: usable_today(one.callsign, one.setup, carriers, settings.rule_set, width_mhz)
        for one in flying
    }
    problem = DayProblem(
        pilots=tuple(planner_pilot(pilot, usable[pilot.callsign]) for pilot in flying),
        site=settings.site,
        bans_mhz=settings.bans_mhz,
        minimum_spacing_mhz=settings.minimum_spacing_mhz,
        aircraft=settings.aircraft,
        rounds=1 if heats_given is not None else settings.rounds,
        rest_heats=settings.rest_heats,
        day_channels=settings.day_channels,
        common_power_mw=settings.common_power_mw,
        heats_given=heats_given,
        **search,
    )
    conflicts = [one.conflict for one in usable.values() if one.conflict]
    problem, crowding = _within_most_transmitters(problem, settings)
    conflicts += [one for one in crowding if isinstance(one, Conflict)]
    warnings += [one for one in crowding if isinstance(one, str)]
    labels = {pilot.callsign: pilot.setup.labels for pilot in flying}
    notes = (*_assumed(flying), *_rule_notes(settings), *_not_tried(flying, usable, settings), *warnings)
    return Brief(problem, settings, labels, tuple(conflicts), notes)


def allowed_mhz(settings: SiteSettings, own_mhz: Iterable[int]) -> tuple[int, ...]:
    """The carriers of the day whatever their power, bans included; ascending.

    own_mhz  what pilots' gear has; a carrier outside the table counts where the bands in use surround it

    Flagged ranges stay out, with and without rules.
    """
    own = set(own_mhz)
    in_use = settings.allowed_mhz
    if in_use is None and settings.rule_set is None:
        in_use = parse_tuning(USUAL_BANDS).mhz
    table = {channel.mhz for channel in CATALOGUE}
    if in_use is None:
        candidates = table | own
    else:
        candidates = set(in_use) | {mhz for mhz in own - table if in_use[0] <= mhz <= in_use[-1]}
    width_mhz = rules_width_mhz(settings.rule_set, settings.site.receiver)
    if settings.rule_set is not None:
        return rules.allowed_mhz(candidates, settings.rule_set, width_mhz)
    return tuple(sorted(mhz for mhz in candidates if not rules.touches_flagged(mhz, width_mhz)))


def _within_most_transmitters(
    problem: DayProblem, settings: SiteSettings
) -> tuple[DayProblem, list[Conflict | str]]:
    most = settings.rule_set.most_transmitters if settings.rule_set else None
    if most is None or settings.rule_set is None:
        return problem, []
    largest = max((len(heat) for heat in problem.heats_given or ()), default=0)
    if problem.one_heat:
        largest = len(problem.pilots)
    limit = _("%(rules)s allows %(most)s transmitters at once", rules=_(settings.rule_set.name), most=most)
    if largest > most:
        together = _("%(number)s pilots are to fly in one heat", number=largest)
        cures = (
            _("Fly at most %(most)s in a heat.", most=most),
            _("Choose rules that allow more, if they apply here."),
        )
        words = _("%(together)s, and %(limit)s.", together=together, limit=limit)
        return problem, [Conflict((together, limit), words, cures)]
    if problem.aircraft <= most or problem.heats_given is not None or problem.one_heat:
        return problem, []
    note = _(
        "%(limit)s: %(most)s aircraft are planned in the air instead of %(aircraft)s.",
        limit=limit,
        most=most,
        aircraft=problem.aircraft,
    )
    return replace(problem, aircraft=most), [note]


def _not_tried(
    pilots: Iterable[RosterPilot], usable: Mapping[str, UsableToday], settings: SiteSettings
) -> list[str]:
    """Steps of power above the rules; where no channel is left a conflict says so."""
    above = {
        pilot.callsign: steps
        for pilot in pilots
        if (
            steps := [
                step
                for step in pilot.setup.power_steps_mw
                if step not in usable[pilot.callsign].power_steps_mw
            ]
        )
    }
    return [above_rules_words(above, _(settings.rule_set.name))] if above and settings.rule_set else []


def _assumed(pilots: Iterable[RosterPilot]) -> list[str]:
    return [
        assumption_words(pilot.callsign, name, value)
        for pilot in pilots
        for name, value in pilot.setup.assumed
    ]


def _rule_notes(settings: SiteSettings) -> list[str]:
    rule_set = settings.rule_set
    if rule_set is None:
        flagged = listed(f"{low_mhz}-{high_mhz}" for low_mhz, high_mhz in rules.FLAGGED_RANGES)
        bands = settings.allowed_bands or USUAL_BANDS
        return [
            _(
                "No rules are chosen: %(bands)s less %(flagged)s MHz, where radars work. Choose rules before "
                "anything is published.",
                bands=bands,
                flagged=flagged,
            )
        ]
    source = ", ".join(str(part) for part in (rule_set.source, rule_set.year) if part)
    words = [
        _(
            "Within the rules chosen for this day: %(rules)s (%(source)s; %(how_sure)s).",
            rules=_(rule_set.name),
            source=source,
            how_sure=_(rule_set.how_sure),
        )
    ]
    if rule_set.licence_needed:
        words.append(_("Every operator needs a licence."))
    return [" ".join((*words, _(rules.WHO_DECIDES)))]
