"""The page Site & rules: what it receives, gathered from the day and from what stands in its fields."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, ClassVar

from server.radio.channels import BANDS, CATALOGUE
from server.radio.rules import FLAGGED_RANGES, RULE_SETS, WHO_DECIDES, RuleSet
from server.radio.site import PRESETS, RECEIVER_PRESETS, Parameter, Receiver, Site, parameters_of
from server.services import site_fields, usable
from server.services.channel_rows import ChannelRow, channel_rows, channels_inside, runs_of
from server.services.days import (
    FormerAddress,
    can_publish,
    rule_set_of,
    settings_of,
    tested_width_mhz,
)
from server.services.errors import InputError
from server.services.own_rules import OWN_KEY
from server.services.site_facts import Exposure, SiteFacts, site_facts
from server.services.site_fields import NO_RULES, fields_of, labels, number
from server.services.stale_forms import StaleFormError
from server.storage.tables import FieldDay
from server.web.channel_axis import Axis, channel_axis
from server.web.templating import Page
from server.wording import gettext as _

INVENTED = frozenset({"tern-meadow"})
"""Rule sets of the demo day, offered to no other."""

RECEIVER_FIELDS: Mapping[str, Parameter] = {
    **{name: one for name, one in parameters_of(Site).items() if name in ("indifference_db", "ample_db")},
    **parameters_of(Receiver),
}


@dataclass(frozen=True)
class RuleChoice:
    """A rule set in the list, with the channels of the table that fall inside."""

    rule_set: RuleSet
    runs: Sequence[str]
    count: int


@dataclass(frozen=True)
class Surroundings:
    """What the page needs besides the day's choices.

    live            what is published, as the top of every page says it
    exposure        of the strongest transmitter on the roster
    base_urls       one for each address of this machine
    is_phone_proof  whether the server listens for other devices at all
    speaks_https_only  the chosen address is of plain http, which this server does not speak
    unknown_host    the chosen address's host, if the server would not answer under it
    """

    live: Mapping[str, str]
    exposure: Exposure
    base_urls: tuple[str, ...]
    is_phone_proof: bool = True
    speaks_https_only: bool = False
    unknown_host: str = ""


@dataclass(frozen=True)
class SitePage(Page):
    """`form` is the text of every field, `was` what stood there when the page was loaded; `errors` are by
    field; `stale` has both versions where somebody else saved meanwhile. `saved` are the sentences of what was
    saved at `saved_at`, None where nothing was posted. `facts` are None while a distance cannot be used."""

    template: ClassVar[str] = "site/page.html"
    day: FieldDay
    form: Mapping[str, str]
    was: Mapping[str, str]
    version: int
    around: Surroundings
    live: Mapping[str, str]
    facts: SiteFacts | None
    rule_choices: Sequence[RuleChoice]
    channels: Sequence[ChannelRow]
    axis: Axis
    refusal: str | None
    chosen_rules: RuleSet | None
    former_addresses: Sequence[FormerAddress]
    other_bans: str
    errors: Mapping[str, str] = field(default_factory=dict)
    stale: StaleFormError | None = None
    saved: Sequence[str] | None = None
    saved_at: datetime | None = None
    notice: str = ""
    is_part: bool = False
    tab: str = "site"
    labels: Mapping[str, str] = field(default_factory=labels)
    bands: Sequence[str] = BANDS
    presets: Sequence[str] = tuple(PRESETS)
    receiver_presets: Mapping[str, Receiver] = field(default_factory=lambda: RECEIVER_PRESETS)
    receiver_fields: Mapping[str, Parameter] = field(default_factory=lambda: RECEIVER_FIELDS)
    distance_fields: Mapping[str, Parameter] = field(default_factory=lambda: parameters_of(Site))
    who_decides: str = field(default_factory=lambda: _(WHO_DECIDES))
    flagged: Sequence[tuple[int, int]] = FLAGGED_RANGES
    own_key: str = OWN_KEY
    no_rules: str = NO_RULES


@dataclass(frozen=True)
class SiteForm(SitePage):
    """The page without its frame, after a form was taken or refused."""

    template: ClassVar[str] = "site/_saved_or_refused.html"


@dataclass(frozen=True)
class WhatFollows(Page):
    """The part that answers while somebody types."""

    template: ClassVar[str] = "site/_typed.html"
    facts: SiteFacts | None
    form: Mapping[str, str]


def site_page(
    day: FieldDay,
    around: Surroundings,
    form: Mapping[str, str] | None = None,
    was: Mapping[str, str] | None = None,
    is_fragment: bool = False,
    **said: Any,
) -> SitePage:
    """The page with these texts in its fields, or with those of the day.

    said  errors, stale, saved, saved_at, notice and version, where they are not the usual
    """
    stored = fields_of(day)
    form, was = form or stored, was or stored
    kind = SiteForm if is_fragment else SitePage
    settings, rule_set, width_mhz = settings_of(day), rule_set_of(day), tested_width_mhz(day)
    rows = channel_rows(settings, rule_set, width_mhz)
    return kind(
        day=day,
        form=form,
        is_part=is_fragment,
        was=was,
        around=around,
        live=around.live,
        facts=facts_of(form),
        rule_choices=_rule_choices(rule_set, settings.site.receiver),
        channels=rows,
        axis=channel_axis(rows, rule_set, width_mhz),
        refusal=can_publish(day),
        chosen_rules=rule_set,
        former_addresses=settings.former_addresses,
        other_bans=_other_bans(form["bans"]),
        **{"version": day.version, **said},
    )


def facts_of(form: Mapping[str, str]) -> SiteFacts | None:
    """What follows from the distances that stand in the fields; None while they cannot be used."""
    try:
        return site_facts(*site_fields.read_site(form))
    except InputError:
        return None


def with_presets(form: Mapping[str, str], preset: str, receiver_preset: str) -> dict[str, str]:
    """The texts with those of a pressed preset; a preset that does not exist changes nothing."""
    filled = dict(form)
    if preset in PRESETS:
        filled |= {name: number(getattr(PRESETS[preset], name)) for name in ("near_m", "far_m", "pit_m")}
    if receiver_preset in RECEIVER_PRESETS:
        filled["iip3_dbm"] = number(RECEIVER_PRESETS[receiver_preset].iip3_dbm)
    return filled


def _rule_choices(stored: RuleSet | None, receiver: Receiver) -> list[RuleChoice]:
    """The sets that come with Bandstand; the day's own copy stands in for the one it was made of."""
    offered = {key: rules for key, rules in RULE_SETS.items() if key not in INVENTED}
    if stored is not None and stored.key != OWN_KEY:
        offered[stored.key] = stored
    return [_rule_choice(rules, receiver) for rules in offered.values()]


def _rule_choice(rule_set: RuleSet, receiver: Receiver) -> RuleChoice:
    inside = channels_inside(rule_set, usable.rules_width_mhz(rule_set, receiver))
    return RuleChoice(rule_set, runs_of(inside), len({channel.mhz for channel in inside}))


def _other_bans(bans: str) -> str:
    """What stands in the field for bans besides the ticks: carriers without a label, and words in any spelling."""
    ticked = {str(channel.mhz) for channel in CATALOGUE}
    return " ".join(word for word in bans.split() if word not in ticked)
