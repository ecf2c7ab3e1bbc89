"""Field days: made, listed, archived; and what a day's own settings and rules say.

Everything that is planned reads a day through `settings_of`, `site_of`, `rule_set_of` and `allowed_mhz`;
`server/services/site.py` changes them.
"""

import json
import secrets
from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Literal

from pydantic import BaseModel, ConfigDict
from sqlmodel import Session

from server.radio import rules
from server.radio.channels import CATALOGUE, labels_at
from server.radio.rules import RuleSet
from server.radio.site import Site
from server.services import day_fields, usable
from server.services.callsigns import tidy
from server.services.errors import InputError, NotFoundError, RefusedError
from server.services.faults import shown
from server.services.roles import acting
from server.storage import calls, days, logbook
from server.storage.tables import FieldDay
from server.wording import gettext as _

# No vowels: four random letters must not spell a word that nobody wants on a printed sheet.
_CODE_LETTERS = "bcdfghjkmnpqrstvwxz"


class FormerAddress(BaseModel):
    """An address for phones that was given up, so that what was printed with it is void."""

    model_config = ConfigDict(frozen=True)

    base_url: str
    until: datetime


class DaySettings(BaseModel):
    """What is stored in a day's settings_json.

    site                 distances and receivers
    allowed_bands        band letters in use
    bans                 MHz out of use today
    minimum_spacing_mhz  no two pilots of a heat closer than this
    day_channels         "auto", "free", or the day's set in MHz
    rest_heats           heats between two flights of one pilot
    common_power_mw      "auto" or a level
    bench_check_needed   nobody flies before the bench check is complete
    own_*                the organiser's own ranges as typed, kept also while another rule set is chosen
    former_addresses     oldest first
    """

    model_config = ConfigDict(frozen=True)

    site: Site = Site()
    allowed_bands: tuple[str, ...] = ("A", "B", "E", "F", "R")
    bans: tuple[int, ...] = ()
    minimum_spacing_mhz: int = 20
    day_channels: Literal["auto", "free"] | tuple[int, ...] = "auto"
    rest_heats: int = 1
    common_power_mw: Literal["auto"] | float = "auto"
    bench_check_needed: bool = False
    own_ranges: str = ""
    own_source: str = ""
    own_licence_needed: bool = True
    former_addresses: tuple[FormerAddress, ...] = ()


def create_day(session: Session, club_id: int, typed: Mapping[str, str], at: datetime) -> FieldDay:
    """A new day of a club from the text of `name`, `date` and `time_zone`, and `code` where one is wished.

    Raises InputError with the faults of all fields.
    """
    text = {field: tidy(typed.get(field) or "") for field in day_fields.FIELDS}
    faults = day_fields.faults_of(text)
    if "code" not in faults and text["code"] and days.by_code(session, text["code"]):
        faults["code"] = _(
            "Another field day has the code %(code)s: write four other letters.", code=text["code"]
        )
    if faults:
        raise InputError(faults)
    day = FieldDay(
        club_id=club_id,
        code=text["code"] or free_code(session),
        name=text["name"],
        date=date.fromisoformat(text["date"]),
        time_zone=text["time_zone"],
        settings_json=DaySettings().model_dump_json(),
        created_at=at,
    )
    days.add(session, day)
    facts = {"code": day.code, "date": text["date"], "time_zone": day.time_zone}
    words = _("Made the field day %(name)s of %(date)s.", name=day.name, date=day.date)
    _log(session, day, "day made", words, facts, at)
    return day


def all_days(session: Session, club_id: int) -> list[FieldDay]:
    """Every day of the club, archived ones too, the latest date first."""
    return days.newest_first(session, club_id)


def day_with(session: Session, code: str) -> FieldDay:
    """The day with this public code. Raises NotFoundError."""
    day = days.by_code(session, code)
    if day is None:
        raise _no_day(code)
    return day


def typed_code(text: str) -> str:
    """A code as people type it into an address: phones begin with a capital letter."""
    return text.strip().lower()


def refuse_other_clubs(session: Session, code: str, club_id: int) -> None:
    """Raise NotFoundError for another club's day exactly as for a day that there is not."""
    day = days.by_code(session, code)
    if day is None or day.club_id != club_id:
        raise _no_day(code)


def current_day(session: Session, club_id: int, at: datetime) -> FieldDay | None:
    """The day that the club's first page shows, none that is archived: one of these days at which somebody may be
    on, else the one made last. What was left open on a day long past does not count.
    """
    since = (at - timedelta(days=1)).date()
    return days.in_use(session, club_id, since) or days.current(session, club_id)


def archive(session: Session, code: str, at: datetime) -> FieldDay:
    """Put a day away; it stays readable. Raises NotFoundError, and RefusedError while a heat is called."""
    day = day_with(session, code)
    if day.archived_at is None:
        if calls.live(session, day.id or 0) is not None:
            raise RefusedError(_("A heat is called: end it before you put the day away."))
        day.archived_at = at
        _log(session, day, "day archived", _("Archived the field day %(name)s.", name=day.name), {}, at)
    return day


def bring_back(session: Session, code: str, at: datetime) -> FieldDay:
    """Take a day out of the archive. Raises NotFoundError."""
    day = day_with(session, code)
    if day.archived_at is not None:
        day.archived_at = None
        _log(
            session, day, "day brought back", _("Brought the field day %(name)s back.", name=day.name), {}, at
        )
    return day


def settings_of(day: FieldDay) -> DaySettings:
    return _settings(day.settings_json)


def site_of(day: FieldDay) -> Site:
    return settings_of(day).site


def rule_set_of(day: FieldDay) -> RuleSet | None:
    """The copy of the rule set that was stored when it was chosen; None where none is chosen."""
    return None if day.rule_set_json is None else _rule_set(day.rule_set_json)


def tested_width_mhz(day: FieldDay) -> float:
    """How wide a signal the day's rules test; the occupied width where no rules are chosen."""
    return usable.rules_width_mhz(rule_set_of(day), site_of(day).receiver)


def allowed_mhz(day: FieldDay, candidates_mhz: Iterable[int] | None = None) -> tuple[int, ...]:
    """The carriers that an automatic plan of the day may use, whatever their power; ascending.

    candidates_mhz  the whole catalogue where none are given; a carrier without a label passes every band

    Flagged ranges stay out whatever rules are chosen, and also where none are.
    """
    settings, rule_set, width_mhz = settings_of(day), rule_set_of(day), tested_width_mhz(day)
    if candidates_mhz is None:
        candidates_mhz = {channel.mhz for channel in CATALOGUE}
    in_use = [mhz for mhz in candidates_mhz if mhz not in settings.bans and is_in_bands(mhz, settings)]
    if rule_set is not None:
        return rules.allowed_mhz(in_use, rule_set, width_mhz)
    return tuple(sorted({mhz for mhz in in_use if not rules.touches_flagged(mhz, width_mhz)}))


def is_in_bands(mhz: int, settings: DaySettings) -> bool:
    """Whether one of the carrier's labels is of a band in use, or it has none."""
    labels = labels_at(mhz)
    return not labels or any(label[0] in settings.allowed_bands for label in labels)


def can_publish(day: FieldDay) -> str | None:
    """Why no plan of this day can be published, with the cure; None where one can."""
    if day.archived_at is not None:
        return _("This field day is archived: bring it back first.")
    if day.responsibility:
        return None
    rule_set = rule_set_of(day)
    if rule_set is None:
        return _("No rules are chosen: choose them in Site & rules, or take responsibility there in words.")
    most = rule_set.most_transmitters
    if most is not None and day.aircraft > most:
        return _(
            "%(rules)s allows %(most)s transmitters at once, and %(aircraft)s aircraft are to be in the "
            "air: set %(most)s in Site & rules, or take responsibility there in words.",
            rules=_(rule_set.name),
            most=most,
            aircraft=day.aircraft,
        )
    return None


def _no_day(code: str) -> NotFoundError:
    return NotFoundError(_("There is no field day with the code %(code)s.", code=shown(code)))


def free_code(session: Session) -> str:
    """A code that no day of this machine has."""
    while True:
        code = "".join(secrets.choice(_CODE_LETTERS) for _ in range(4))
        if days.by_code(session, code) is None:
            return code


def _log(
    session: Session, day: FieldDay, action: str, text: str, facts: Mapping[str, str], at: datetime
) -> None:
    session.flush()
    logbook.append(session, day.id, acting(session), action, text, facts, at)


@lru_cache(maxsize=64)
def _settings(settings_json: str) -> DaySettings:
    return DaySettings.model_validate_json(settings_json)


@lru_cache(maxsize=64)
def _rule_set(rule_set_json: str) -> RuleSet:
    stored = json.loads(rule_set_json)
    return rules.rule_set_from(stored.pop("key"), stored)
