"""The fields of Site & rules: the text that stands in each, and what typed text chooses."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from server.allocator.problem import MOST_PILOTS_IN_A_HEAT
from server.radio.channels import BANDS
from server.radio.errors import RuleError, TuningError
from server.radio.rules import RULE_SETS, RuleSet
from server.radio.site import Receiver, Site, parameters_of
from server.radio.tuning import parse_tuning
from server.services.base_urls import read_base_url
from server.services.days import DaySettings, rule_set_of, settings_of
from server.services.errors import InputError
from server.services.faults import shown
from server.services.gear import HIGHEST_POWER_MW, LOWEST_POWER_MW
from server.services.own_rules import OWN_KEY, own_rule_set
from server.services.words_below import translated
from server.storage.tables import FieldDay
from server.wording import gettext as _
from server.wording import marked, plain_decimal, typed_decimal

NO_RULES = "none"
"""What `rules` says where none are chosen; else it is the key of a rule set."""

LONGEST_WORDS = 1000

WHOLE_NUMBERS: Mapping[str, tuple[int, int, str]] = {
    "aircraft": (1, MOST_PILOTS_IN_A_HEAT, ""),
    "rounds": (1, 50, ""),
    "heat_minutes": (1, 120, "min"),
    "minimum_spacing_mhz": (0, 200, "MHz"),
    "rest_heats": (0, 50, ""),
}
"""Lowest, highest and unit."""

LABELS: Mapping[str, str] = {
    "near_m": marked("near"),
    "far_m": marked("far"),
    "pit_m": marked("pits"),
    "aircraft": marked("aircraft in the air"),
    "rounds": marked("rounds"),
    "heat_minutes": marked("minutes for a heat"),
    "minimum_spacing_mhz": marked("minimum spacing"),
    "rest_heats": marked("heats of rest"),
    "common_power_mw": marked("power for all"),
    "day_channels": marked("day's set"),
    "allowed_bands": marked("bands in use"),
    "bans": marked("out of use today"),
    "indifference_db": marked("equal margins"),
    "ample_db": marked("ample margin"),
    "rx_gain_dbi": marked("receiving antenna"),
    "iip3_dbm": marked("intercept point"),
    "noise_figure_db": marked("noise figure"),
    "if_bandwidth_mhz": marked("noise bandwidth"),
    "pr_floor_db": marked("protection ratio, far off"),
    "occupied_mhz": marked("occupied width"),
    "necessary_mhz": marked("necessary width"),
    "fade_allowance_db": marked("fade allowance"),
    "cross_polar_db": marked("opposite circular senses"),
    "mismatch_linear_db": marked("linear to circular"),
    "mismatch_opposite_db": marked("opposite own antennas"),
    "reference_mhz": marked("frequency of path losses"),
    "rules": marked("rules"),
    "own_ranges": marked("own ranges"),
    "own_source": marked("who allows the own ranges"),
    "own_licence_needed": marked("licence needed"),
    "responsibility": marked("responsibility in words"),
    "base_url": marked("address for phones"),
}
"""Every field, in the order of the page, as it is called on the page and in the logbook."""


def labels() -> dict[str, str]:
    """LABELS in the language spoken."""
    return {name: _(words) for name, words in LABELS.items()}


Fields = Mapping[str, str]
"""Text by field name; a list is joined by spaces, a tick is "yes" or empty."""

_WHOLE = re.compile(r"[0-9]{1,9}")
_DECIMAL = re.compile(r"[+-]?(?:[0-9]{1,12}(?:\.[0-9]{0,12})?|\.[0-9]{1,12})")


@dataclass(frozen=True)
class SiteChoices:
    """What the fields choose; `settings` has no former addresses."""

    settings: DaySettings
    aircraft: int
    rounds: int
    heat_minutes: int
    rule_set: RuleSet | None
    responsibility: str | None
    base_url: str | None


def fields_of(day: FieldDay) -> dict[str, str]:
    """The text of every field as the day has it; `read_fields` makes the same choices of it."""
    settings, rule_set = settings_of(day), rule_set_of(day)
    site, day_channels = settings.site, settings.day_channels
    return {
        **{name: number(getattr(site, name)) for name in parameters_of(Site)},
        **{name: number(getattr(site.receiver, name)) for name in parameters_of(Receiver)},
        "aircraft": str(day.aircraft),
        "rounds": str(day.rounds),
        "heat_minutes": str(day.heat_minutes),
        "minimum_spacing_mhz": str(settings.minimum_spacing_mhz),
        "rest_heats": str(settings.rest_heats),
        "common_power_mw": _word_or_number(settings.common_power_mw),
        "day_channels": _joined(day_channels) if isinstance(day_channels, tuple) else day_channels,
        "allowed_bands": " ".join(settings.allowed_bands),
        "bans": _joined(settings.bans),
        "rules": rule_set.key if rule_set else NO_RULES,
        "own_ranges": settings.own_ranges,
        "own_source": settings.own_source,
        "own_licence_needed": "yes" if settings.own_licence_needed else "",
        "responsibility": day.responsibility or "",
        "base_url": day.base_url or "",
    }


def read_fields(day: FieldDay, typed: Fields) -> SiteChoices:
    """The choices that typed text makes for a day. Raises InputError with the faults of all fields."""
    reading = _Reading({name: (typed.get(name) or "").strip() for name in LABELS})
    settings = DaySettings(
        site=reading.site(),
        allowed_bands=reading.bands(),
        bans=reading.channels("bans") if reading.typed["bans"] else (),
        minimum_spacing_mhz=reading.whole_number("minimum_spacing_mhz"),
        day_channels=reading.day_channels(),
        rest_heats=reading.whole_number("rest_heats"),
        common_power_mw=reading.common_power(),
        own_ranges=reading.words("own_ranges"),
        own_source=reading.words("own_source"),
        own_licence_needed=bool(reading.typed["own_licence_needed"]),
    )
    choices = SiteChoices(
        settings=settings,
        aircraft=reading.whole_number("aircraft"),
        rounds=reading.whole_number("rounds"),
        heat_minutes=reading.whole_number("heat_minutes"),
        rule_set=reading.rule_set(rule_set_of(day), day.date.year),
        responsibility=reading.words("responsibility") or None,
        base_url=reading.base_url(),
    )
    if reading.faults:
        raise InputError(reading.faults)
    return choices


def read_site(typed: Fields) -> tuple[Site, int]:
    """The site and the number of aircraft in the air alone, for what follows from them. Raises InputError."""
    reading = _Reading({name: (typed.get(name) or "").strip() for name in LABELS})
    site, aircraft = reading.site(), reading.whole_number("aircraft")
    if reading.faults:
        raise InputError(reading.faults)
    return site, aircraft


def number(value: float) -> str:
    """A number as it stands in a field."""
    return f"{value:.12g}"


def _joined(channels_mhz: tuple[int, ...]) -> str:
    return " ".join(str(mhz) for mhz in channels_mhz)


def _word_or_number(value: str | float) -> str:
    return value if isinstance(value, str) else number(value)


class _Reading:
    """Reads one field after another and keeps a sentence for each that cannot be used."""

    def __init__(self, typed: Fields) -> None:
        self.typed = typed
        self.faults: dict[str, str] = {}

    def fault(self, name: str, cure: str, problem: str = "") -> None:
        text = shown(self.typed[name])
        problem = problem or (_("“%(text)s” cannot be used", text=text) if text else _("This is empty"))
        self.faults[name] = f"{problem[:1].upper()}{problem[1:]}: {cure}."

    def whole_number(self, name: str) -> int:
        lowest, highest, unit = WHOLE_NUMBERS[name]
        text = self.typed[name]
        if _WHOLE.fullmatch(text) and lowest <= int(text) <= highest:
            return int(text)
        self.fault(
            name,
            _(
                "give a whole number from %(lowest)s to %(highest)s %(unit)s",
                lowest=lowest,
                highest=highest,
                unit=unit,
            ).rstrip(),
        )
        return lowest

    def decimal(self, name: str, lowest: float, highest: float, unit: str) -> float:
        text = plain_decimal(self.typed[name])
        if _DECIMAL.fullmatch(text) and lowest <= float(text) <= highest:
            return float(text)
        self.fault(
            name,
            _(
                "give a number from %(lowest)s to %(highest)s %(unit)s",
                lowest=typed_decimal(lowest),
                highest=typed_decimal(highest),
                unit=unit,
            ).rstrip(),
        )
        return lowest

    def parameters(self, kind: type) -> dict[str, float]:
        return {
            name: self.decimal(name, one.lowest, one.highest, one.unit)
            for name, one in parameters_of(kind).items()
        }

    def site(self) -> Site:
        receiver = Receiver(**self.parameters(Receiver))
        distances = self.parameters(Site)
        if distances["far_m"] < distances["near_m"]:
            if not self.faults.keys() & {"near_m", "far_m"}:
                near_m, far_m = number(distances["near_m"]), number(distances["far_m"])
                problem = _("far (%(far_m)s m) is less than near (%(near_m)s m)", far_m=far_m, near_m=near_m)
                self.fault(
                    "far_m",
                    _("give at least %(near_m)s m, or a smaller near distance", near_m=near_m),
                    problem,
                )
            return replace(Site(), receiver=receiver)
        return Site(**distances, receiver=receiver, outside=())

    def channels(self, name: str) -> tuple[int, ...]:
        try:
            return parse_tuning(self.typed[name]).mhz
        except TuningError as error:
            self.fault(name, translated(error.cure), translated(error.problem))
            return ()

    def day_channels(self) -> Literal["auto", "free"] | tuple[int, ...]:
        match self.typed["day_channels"].casefold():
            case "" | "auto":
                return "auto"
            case "free":
                return "free"
        return self.channels("day_channels")

    def bands(self) -> tuple[str, ...]:
        wanted = self.typed["allowed_bands"].upper().split()
        if not wanted or set(wanted) - set(BANDS):
            self.fault("allowed_bands", _("choose one or more of %(bands)s", bands=" ".join(BANDS)))
        return tuple(band for band in BANDS if band in wanted)

    def common_power(self) -> Literal["auto"] | float:
        if self.typed["common_power_mw"].casefold() in ("", "auto"):
            return "auto"
        power_mw = self.decimal("common_power_mw", LOWEST_POWER_MW, HIGHEST_POWER_MW, "mW")
        if "common_power_mw" in self.faults:
            fault = self.faults["common_power_mw"][:-1]
            self.faults["common_power_mw"] = _("%(fault)s, or write auto.", fault=fault)
        return power_mw

    def words(self, name: str) -> str:
        text = self.typed[name].replace("\r\n", "\n")
        if len(text) > LONGEST_WORDS:
            problem = _("%(number)s characters are too many", number=len(text))
            self.fault(name, _("shorten it to %(longest)s", longest=LONGEST_WORDS), problem)
        if any(not char.isprintable() and char not in "\n\t" for char in text):
            self.fault(
                name, _("type it again with letters and figures"), _("a character here cannot be seen")
            )
        return text

    def rule_set(self, stored: RuleSet | None, year: int) -> RuleSet | None:
        """The stored copy if it is chosen again: it stays as it was when the day was set up."""
        key = self.typed["rules"]
        if key in ("", NO_RULES):
            return None
        if key == OWN_KEY:
            return self._own_rules(year)
        if stored is not None and stored.key == key:
            return stored
        if key not in RULE_SETS:
            self.fault(
                "rules", _("choose one of the list"), _("there is no rule set “%(key)s”", key=shown(key))
            )
        return RULE_SETS.get(key)

    def _own_rules(self, year: int) -> RuleSet | None:
        if not self.typed["own_source"]:
            self.fault(
                "own_source", _("say who allows these ranges and where it is written, such as a permit")
            )
        if not self.typed["own_ranges"]:
            self.fault("own_ranges", _("give at least one range, such as 5725-5875 25"))
        if self.faults.keys() & {"own_source", "own_ranges"}:
            return None
        is_licence_needed = bool(self.typed["own_licence_needed"])
        try:
            return own_rule_set(self.typed["own_ranges"], self.typed["own_source"], is_licence_needed, year)
        except RuleError as error:
            self.fault("own_ranges", translated(error.cure), translated(error.problem))
            return None

    def base_url(self) -> str | None:
        if not self.typed["base_url"]:
            return None
        try:
            return read_base_url(self.typed["base_url"])
        except ValueError as error:
            self.faults["base_url"] = str(error)
            return None
