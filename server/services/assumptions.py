"""What a plan takes for granted, each with its value, unit and where the value comes from."""

from collections.abc import Iterable
from typing import Any

from server.radio.site import Receiver, Site, parameters_of
from server.services.days import DaySettings, settings_of
from server.services.outside_lines import block_words, level_words
from server.storage.tables import FieldDay
from server.wording import gettext as _
from server.wording import marked

DEFAULT = marked("default")
CHOSEN = marked("site and rules")
NOT_KNOWN = marked("not known at check-in")
NOTED = marked("noted at the field")


def assumptions_of(day: FieldDay) -> list[dict[str, Any]]:
    """Distances, receivers and planning choices of a day."""
    settings, usual = settings_of(day), DaySettings()
    rows = [
        _row(name, getattr(settings.site, name), parameter.unit, getattr(usual.site, name))
        for name, parameter in parameters_of(Site).items()
    ]
    rows += [
        _row(name, getattr(settings.site.receiver, name), parameter.unit, getattr(usual.site.receiver, name))
        for name, parameter in parameters_of(Receiver).items()
    ]
    columns = FieldDay.model_fields
    rows += [
        _row("aircraft", day.aircraft, "", columns["aircraft"].default),
        _row("rounds", day.rounds, "", columns["rounds"].default),
        _row("heat_minutes", day.heat_minutes, "min", columns["heat_minutes"].default),
    ]
    rows += [
        _row(name, getattr(settings, name), unit, getattr(usual, name))
        for name, unit in (
            ("minimum_spacing_mhz", "MHz"),
            ("rest_heats", ""),
            ("day_channels", "MHz"),
            ("common_power_mw", "mW"),
            ("allowed_bands", ""),
            ("bans", "MHz"),
        )
    ]
    return rows


def assumed_gear(assumed: Iterable[tuple[str, str, str]]) -> list[dict[str, Any]]:
    """What is taken for gear that nobody knew: callsign, field of the video set-up, value."""
    return [
        {"name": f"{callsign}: {field}", "value": value, "unit": "", "source": _(NOT_KNOWN)}
        for callsign, field, value in assumed
    ]


def assumed_outside(site: Site) -> list[dict[str, Any]]:
    """What else is on the air, as it was noted."""
    return [
        {
            "name": one.words,
            "value": f"{block_words(one.centre_mhz, one.width_mhz)}, {level_words(round(one.level_dbm, 1))}",
            "unit": "",
            "source": _(NOTED),
        }
        for one in site.outside
    ]


def _row(name: str, value: Any, unit: str, usual: Any) -> dict[str, Any]:
    shown = list(value) if isinstance(value, tuple) else value
    return {
        "name": name,
        "value": shown,
        "unit": "" if isinstance(shown, str) else unit,
        "source": _(DEFAULT) if value == usual else _(CHOSEN),
    }
