"""Everything that a result rests on, with where each value came from."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from server.allocator.problem import DayProblem
from server.radio.site import Receiver, Site, parameters_of
from server.services.outside_lines import block_words, level_words
from server.services.roster import RosterPilot
from server.services.site_settings import USUAL_BANDS, SiteSettings

Value = float | int | str | list[int] | list[float] | bool | None


@dataclass(frozen=True)
class Assumption:
    """source  "site file", "option", "roster" or "default"."""

    name: str
    value: Value
    unit: str
    source: str


def assumptions_of(
    problem: DayProblem,
    settings: SiteSettings,
    options: Collection[str] = (),
    pilots: Iterable[RosterPilot] = (),
) -> tuple[Assumption, ...]:
    """What a plan of this problem rests on, in the order in which it is shown.

    options  names given as an option, which wins over the site file
    pilots   whose gear was not fully known
    """
    planning = [_assumption(*facts, settings, options) for facts in _planning(problem, settings)]
    return (*site_assumptions(settings, options), *planning, *_unknown_gear(pilots))


def site_assumptions(settings: SiteSettings, options: Collection[str] = ()) -> tuple[Assumption, ...]:
    """Distances and receivers, which every margin rests on."""
    site = settings.site
    return (
        *(
            _assumption(name, getattr(site, name), parameter.unit, settings, options)
            for name, parameter in parameters_of(Site).items()
        ),
        *(
            _assumption(name, getattr(site.receiver, name), parameter.unit, settings, options, "receiver.")
            for name, parameter in parameters_of(Receiver).items()
        ),
        *(
            Assumption(
                "outside",
                f"{block_words(one.centre_mhz, one.width_mhz)}, {level_words(one.level_dbm)}",
                "",
                "site file",
            )
            for one in site.outside
        ),
    )


def _assumption(
    name: str, value: Value, unit: str, settings: SiteSettings, options: Collection[str], part_of: str = ""
) -> Assumption:
    given = "site file" if f"{part_of}{name}" in settings.given else "default"
    shown_unit = "" if isinstance(value, str) or value in (None, []) else unit
    return Assumption(name, value, shown_unit, "option" if name in options else given)


def _planning(problem: DayProblem, settings: SiteSettings) -> list[tuple[str, Value, str]]:
    bands = settings.allowed_bands or ("within the rules" if settings.rule_set else USUAL_BANDS)
    day_channels = problem.day_channels
    return [
        ("rules", settings.rule_set.name if settings.rule_set else None, ""),
        ("allowed_bands", bands, ""),
        ("bans", list(problem.bans_mhz), "MHz"),
        ("minimum_spacing_mhz", problem.minimum_spacing_mhz, "MHz"),
        ("day_channels", list(day_channels) if isinstance(day_channels, tuple) else day_channels, "MHz"),
        ("rest_heats", problem.rest_heats, "heats"),
        ("common_power_mw", problem.common_power_mw, "mW"),
        ("aircraft", problem.aircraft, ""),
        ("rounds", problem.rounds, ""),
        ("one_heat", problem.one_heat, ""),
        ("retune_worth_db", problem.retune_worth_db, "dB"),
        ("mix_worth_db", problem.mix_worth_db, "dB"),
        ("node_limit", problem.node_limit, "nodes"),
        ("time_limit_s", problem.time_limit_s, "s"),
        ("seed", problem.seed, ""),
    ]


def _unknown_gear(pilots: Iterable[RosterPilot]) -> Iterable[Assumption]:
    for pilot in pilots:
        for name, value in pilot.setup.assumed:
            unit = "mW" if name == "power_mw" else ""
            steps = list(pilot.setup.power_steps_mw) if name == "power_mw" else value
            yield Assumption(f"{name} of {pilot.callsign}", steps, unit, "default")
