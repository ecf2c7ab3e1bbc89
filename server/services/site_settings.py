"""What is chosen for a day besides its roster: site, channels, spacing, powers, rules. From plain values."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from server.allocator.problem import MOST_PILOTS_IN_A_HEAT
from server.radio.errors import SiteError, TuningError
from server.radio.outside import OutsideSignal
from server.radio.rules import RuleSet
from server.radio.site import Receiver, Site, parameters_of
from server.radio.tuning import parse_tuning
from server.services.faults import FieldFault, FieldsError, nearest
from server.services.gear import HIGHEST_POWER_MW, LOWEST_POWER_MW
from server.services.outside_lines import EXAMPLES, OutsideLineError, read_line
from server.services.rule_choices import read_rules
from server.services.words_below import translated
from server.wording import gettext as _
from server.wording import short_decimal

USUAL_BANDS = "A B E F R"
"""Allowed where no rules are chosen; band L lies among radars."""

OWN_MISMATCH = "own_mismatch_db"
_MISMATCHES = ("mismatch_linear_db", "mismatch_opposite_db")

_WHOLE_NUMBERS = {
    "aircraft": (1, MOST_PILOTS_IN_A_HEAT),
    "rounds": (1, 50),
    "minimum_spacing_mhz": (0, 200),
    "rest_heats": (0, 50),
}
"""Lowest and highest of the settings that are whole numbers."""

SETTINGS = (
    *parameters_of(Site),
    "allowed_bands",
    "bans",
    *_WHOLE_NUMBERS,
    "day_channels",
    "common_power_mw",
    "outside",
    "receiver",
    "rules",
)
"""Every name that a site file may have at its top."""


@dataclass(frozen=True)
class SiteSettings:
    """The choices of a day.

    allowed_mhz    of the bands allowed; None: whatever the rules hold, or USUAL_BANDS without rules
    allowed_bands  the same as typed
    given          names that were given, the others are defaults; "receiver." and "rules." stand before parts
    """

    site: Site = field(default_factory=Site)
    allowed_mhz: tuple[int, ...] | None = None
    allowed_bands: str = ""
    bans_mhz: tuple[int, ...] = ()
    aircraft: int = 6
    rounds: int = 1
    minimum_spacing_mhz: int = 20
    rest_heats: int = 1
    day_channels: Literal["auto", "free"] | tuple[int, ...] = "auto"
    common_power_mw: Literal["auto"] | float = "auto"
    rule_set: RuleSet | None = None
    given: frozenset[str] = frozenset()


def read_settings(values: Mapping[str, Any]) -> SiteSettings:
    """The choices that plain values make, as from a site file or a stored day. Raises FieldsError."""
    reading = _Reading(values)
    reading.unknown(values, SETTINGS, "")
    allowed_mhz = reading.channels("allowed_bands")
    settings = SiteSettings(
        site=replace(reading.site(), outside=reading.outside()),
        allowed_mhz=allowed_mhz,
        allowed_bands=_words(values.get("allowed_bands", "")) if allowed_mhz else "",
        bans_mhz=reading.channels("bans") or (),
        **{name: reading.whole_number(name) for name in _WHOLE_NUMBERS if name in values},
        day_channels=reading.day_channels(),
        common_power_mw=reading.common_power(),
        rule_set=reading.rules(),
        given=frozenset(_names(values)),
    )
    if reading.faults:
        raise FieldsError(reading.faults)
    return settings


class _Reading:
    """Reads one setting after another and keeps every fault."""

    def __init__(self, values: Mapping[str, Any]) -> None:
        self._values = values
        self.faults: list[FieldFault] = []

    def fault(self, name: str, value: object, problem: str, cure: str) -> None:
        self.faults.append(FieldFault(name, _text(value), problem, cure))

    def unknown(self, values: Mapping[str, Any], names: Sequence[str], prefix: str) -> None:
        for name in (one for one in values if one not in names):
            meant = nearest(name, names)
            cure = (
                _("write %(meant)s if that is meant, or leave it out", meant=meant)
                if meant
                else _("the names are %(names)s", names=", ".join(names))
            )
            self.fault(
                f"{prefix}{name}",
                name,
                _("there is no setting %(name)s", name=f"{prefix}{name}"),
                cure,
            )

    def channels(self, name: str) -> tuple[int, ...] | None:
        value = self._values.get(name)
        if value is None or (name == "bans" and value in ([], "")):
            return None
        if not isinstance(value, str) and not _is_list_of(value, (str, int)):
            cure = _('write channels in quotes, such as "A B F R1-R4 5800"')
            self.fault(name, value, _("%(name)s cannot be %(text)s", name=name, text=_text(value)), cure)
            return None
        try:
            return parse_tuning(_words(value)).mhz
        except TuningError as error:
            self.fault(name, error.word, translated(error.problem), translated(error.cure))
            return None

    def whole_number(self, name: str) -> int:
        lowest, highest = _WHOLE_NUMBERS[name]
        value = self._values[name]
        if not _is_number(value) or not lowest <= value <= highest or not float(value).is_integer():
            self.fault(
                name,
                value,
                _("%(name)s cannot be %(text)s", name=name, text=_text(value)),
                _("give a whole number from %(lowest)s to %(highest)s", lowest=lowest, highest=highest),
            )
            return lowest
        return int(value)

    def day_channels(self) -> Literal["auto", "free"] | tuple[int, ...]:
        value = self._values.get("day_channels", "auto")
        if value in ("auto", "free"):
            return "auto" if value == "auto" else "free"
        return self.channels("day_channels") or "auto"

    def outside(self) -> tuple[OutsideSignal, ...]:
        """What else is on the air, a line each as in `outside_lines`."""
        lines = self._values.get("outside", [])
        if not _is_list_of(lines, (str,)):
            cure = _(
                'write a list of lines in quotes, such as ["%(example)s"]',
                example=EXAMPLES.partition(",")[0],
            )
            self.fault("outside", lines, _("outside cannot be %(text)s", text=_text(lines)), cure)
            return ()
        found = []
        for line in lines:
            try:
                found.append(read_line(line).signal)
            except OutsideLineError as error:
                self.fault("outside", line, error.problem, error.cure)
        return tuple(found)

    def common_power(self) -> Literal["auto"] | float:
        value = self._values.get("common_power_mw", "auto")
        if value == "auto":
            return "auto"
        if not _is_number(value) or not LOWEST_POWER_MW <= value <= HIGHEST_POWER_MW:
            cure = _(
                'give mW from %(lowest)s to %(highest)s, or "auto"',
                lowest=short_decimal(LOWEST_POWER_MW),
                highest=short_decimal(HIGHEST_POWER_MW),
            )
            self.fault(
                "common_power_mw", value, _("common_power_mw cannot be %(text)s", text=_text(value)), cure
            )
            return "auto"
        return float(value)

    def site(self) -> Site:
        receiver = self.receiver()
        # Wide enough that each distance is first judged by itself, and near against far at the end.
        widest = Site(near_m=0.5, far_m=20000)
        given = {name: self._values[name] for name in parameters_of(Site) if name in self._values}
        good = {
            name: value
            for name, value in given.items()
            if self.holds(name, value, lambda c: replace(widest, **c))
        }
        try:
            return replace(Site(), **good, receiver=receiver)
        except SiteError as error:
            named = error.name if error.name in good else "near_m"
            self.fault(named, good.get(named), translated(error.problem), translated(error.cure))
            return Site()

    def receiver(self) -> Receiver:
        values = self._values.get("receiver", {})
        if not isinstance(values, Mapping):
            self.fault(
                "receiver", values, _("receiver is not a table"), _("write [receiver] on a line of its own")
            )
            return Receiver()
        self.unknown(values, (*parameters_of(Receiver), OWN_MISMATCH), "receiver.")
        values = {
            name: value for name, value in values.items() if name in (*parameters_of(Receiver), OWN_MISMATCH)
        }
        pair = values.pop(OWN_MISMATCH, None)
        if pair is not None and (not _is_list_of(pair, (int, float)) or len(pair) != 2):
            cure = _("write two numbers, for linear and for opposite antennas: [3, 10]")
            self.fault(
                f"receiver.{OWN_MISMATCH}",
                pair,
                _("%(name)s cannot be %(text)s", name=OWN_MISMATCH, text=_text(pair)),
                cure,
            )
        elif pair is not None:
            values |= dict(zip(_MISMATCHES, pair, strict=True))
        good = {
            name: value
            for name, value in values.items()
            if self.holds(f"receiver.{name}", value, lambda c: replace(Receiver(), **c))
        }
        return replace(Receiver(), **good)

    def holds(self, name: str, value: object, build: Callable[[dict[str, Any]], object]) -> bool:
        try:
            build({name.rpartition(".")[2]: value})
        except SiteError as error:
            self.fault(name, value, translated(error.problem), translated(error.cure))
            return False
        return True

    def rules(self) -> RuleSet | None:
        facts = self._values.get("rules")
        if facts is not None and not isinstance(facts, Mapping):
            self.fault("rules", facts, _("rules is not a table"), _("write [rules] on a line of its own"))
        if not isinstance(facts, Mapping):
            return None
        try:
            return read_rules(facts)
        except FieldsError as error:
            self.faults.extend(error.field_faults)
            return None


def _names(values: Mapping[str, Any]) -> list[str]:
    names = list(values)
    for table in ("receiver", "rules"):
        if isinstance(values.get(table), Mapping):
            names += [f"{table}.{name}" for name in values[table]]
    if f"receiver.{OWN_MISMATCH}" in names:
        names += [f"receiver.{name}" for name in _MISMATCHES]
    return names


def _words(value: Any) -> str:
    return value if isinstance(value, str) else " ".join(str(one) for one in value)


def _text(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < math.inf


def _is_list_of(value: object, kinds: tuple[type, ...]) -> bool:
    return isinstance(value, list | tuple) and all(
        isinstance(one, kinds) and not isinstance(one, bool) for one in value
    )
