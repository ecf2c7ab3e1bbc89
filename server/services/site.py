"""Save what is chosen in Site & rules; each kind of change is a line of the logbook."""

import json
from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any, NamedTuple

from sqlmodel import Session

from server.radio import rules
from server.radio.rules import RuleSet
from server.radio.site import Receiver, Site, parameters_of
from server.services import saved_forms
from server.services.days import FormerAddress, rule_set_of, settings_of
from server.services.roles import acting
from server.services.site_fields import LABELS, WHOLE_NUMBERS, SiteChoices, fields_of, read_fields
from server.services.stale_forms import Form, check_fresh
from server.storage import logbook
from server.storage.tables import FieldDay
from server.wording import gettext as _
from server.wording import short_decimal

UNITS: Mapping[str, str] = {
    **{name: one.unit for kind in (Site, Receiver) for name, one in parameters_of(kind).items()},
    **{name: unit for name, (_, _, unit) in WHOLE_NUMBERS.items()},
    "day_channels": "MHz",
    "bans": "MHz",
}
"""The unit of every field that has one."""

_TOLD_BY_THEMSELVES = frozenset(
    {"rules", "own_ranges", "own_source", "own_licence_needed", "responsibility", "base_url"}
)


class _Line(NamedTuple):
    action: str
    text: str
    facts: Mapping[str, Any]


def save(session: Session, day: FieldDay, form: Form, at: datetime) -> list[str]:
    """Take the fields over into the day; returns what was changed, a sentence each, none if nothing was.

    Raises InputError with the faults of all fields, StaleFormError where the day was changed meanwhile.
    """
    before, stored_rules, former_url = fields_of(day), rule_set_of(day), day.base_url
    check_fresh(form, saved_forms.site(session, day))
    choices = read_fields(day, form.typed)
    _apply(day, choices, at)
    lines = [
        *_settings_line(before, fields_of(day)),
        *_rules_line(stored_rules, choices.rule_set),
        *_responsibility_line(before["responsibility"], day.responsibility),
        *_address_line(former_url, day.base_url),
    ]
    session.flush()
    for line in lines:
        logbook.append(session, day.id, acting(session), line.action, line.text, line.facts, at)
    return [line.text for line in lines]


def _apply(day: FieldDay, choices: SiteChoices, at: datetime) -> None:
    former = [one for one in settings_of(day).former_addresses if one.base_url != choices.base_url]
    if day.base_url and day.base_url != choices.base_url:
        former.append(FormerAddress(base_url=day.base_url, until=at))
    # What other pages choose stays as it is.
    kept = {"former_addresses": tuple(former), "bench_check_needed": settings_of(day).bench_check_needed}
    settings = choices.settings.model_copy(update=kept)
    stored = {
        "aircraft": choices.aircraft,
        "rounds": choices.rounds,
        "heat_minutes": choices.heat_minutes,
        "settings_json": settings.model_dump_json(),
        "rule_set_json": _copy_of(choices.rule_set),
        "responsibility": choices.responsibility,
        "base_url": choices.base_url,
    }
    for name, value in stored.items():
        if getattr(day, name) != value:  # an assignment counts the version up even where nothing changes
            setattr(day, name, value)


def _copy_of(rule_set: RuleSet | None) -> str | None:
    """The rules as they are today: a later version of the built-in ones does not change a day."""
    if rule_set is None:
        return None
    return json.dumps({"key": rule_set.key, **rules.facts_of(rule_set)}, ensure_ascii=False)


def _settings_line(before: Mapping[str, str], after: Mapping[str, str]) -> Iterator[_Line]:
    changed = [name for name in LABELS if before[name] != after[name] and name not in _TOLD_BY_THEMSELVES]
    if changed:
        words = [_change_in_words(name, before[name], after[name]) for name in changed]
        facts = {name: {"from": before[name], "to": after[name]} for name in changed}
        yield _Line("site changed", _("Changed %(words)s.", words="; ".join(words)), facts)


def _change_in_words(name: str, before: str, after: str) -> str:
    unit = f" {UNITS[name]}" if UNITS.get(name) and after[-1:].isdecimal() else ""
    return _(
        "%(label)s from %(before)s to %(after)s",
        label=_(LABELS[name]),
        before=before or _("none"),
        after=f"{after or _('none')}{unit}",
    )


def _rules_line(before: RuleSet | None, after: RuleSet | None) -> Iterator[_Line]:
    if before == after:
        return
    if after is None:
        yield _Line("rules taken back", _("Took the rules back: none are chosen now."), {})
        return
    ranges = ", ".join(f"{short_decimal(one.low_mhz)}-{short_decimal(one.high_mhz)}" for one in after.ranges)
    source = ", ".join([" ".join(after.source.split()), *([str(after.year)] if after.year else [])])
    text = _(
        "Chose the rules %(rules)s: %(ranges)s MHz (%(source)s; %(how_sure)s).",
        rules=_(after.name),
        ranges=ranges,
        source=source,
        how_sure=_(after.how_sure),
    )
    yield _Line("rules chosen", text, {"key": after.key, **rules.facts_of(after)})


def _responsibility_line(before: str, after: str | None) -> Iterator[_Line]:
    if after and before != after:
        yield _Line(
            "responsibility taken",
            _("Took responsibility in words: “%(words)s”", words=after),
            {"words": after},
        )
    elif before and not after:
        yield _Line("responsibility taken back", _("Took back the responsibility given in words."), {})


def _address_line(before: str | None, after: str | None) -> Iterator[_Line]:
    if before == after:
        return
    words = [_("No address for phones is chosen now.")]
    if after:
        words = [_("Chose %(address)s as the address for phones.", address=after)]
    if before:
        words.append(_("What was printed with %(address)s is void.", address=before))
    yield _Line("address chosen", " ".join(words), {"from": before, "to": after})
