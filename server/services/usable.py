"""What a pilot's gear may do today: channels and powers within the rules chosen, or why there are none."""

from collections.abc import Iterable
from dataclasses import dataclass

from server.allocator.plan import Conflict
from server.allocator.problem import Pilot
from server.radio import decibels, rules
from server.radio.rules import RuleSet
from server.radio.site import Receiver
from server.services.gear import VideoSetup, label_at
from server.services.roster import RosterPilot
from server.wording import gettext as _
from server.wording import short_decimal

_LISTED = 6


@dataclass(frozen=True)
class UsableToday:
    """Channels and power steps that go together: each channel may be flown at each step.

    conflict  why there is none, None where there is one
    """

    channels_mhz: tuple[int, ...]
    power_steps_mw: tuple[float, ...]
    conflict: Conflict | None = None


def eirp_mw(power_mw: float, gain_dbi: float) -> float:
    """Radiated power of a transmitter with its antenna."""
    return power_mw * float(decibels.power_ratio(gain_dbi))


def rules_width_mhz(rule_set: RuleSet | None, receiver: Receiver) -> float:
    """The width that the rules test; the occupied one where no rules are chosen."""
    is_necessary = rule_set is not None and rule_set.tested_width == "necessary"
    return receiver.necessary_mhz if is_necessary else receiver.occupied_mhz


def usable_today(
    callsign: str, setup: VideoSetup, allowed_mhz: Iterable[int], rule_set: RuleSet | None, width_mhz: float
) -> UsableToday:
    """What remains of a set-up under the day's carriers and rules.

    allowed_mhz  carriers of the day whatever their power, see rules.allowed_mhz
    width_mhz    the width that the rules test

    Rules may limit power differently by range. A channel stays if the lowest step may be flown on it, and
    a step if it may be flown on all of those, so that no later choice of power leaves the rules.
    """
    allowed = set(allowed_mhz)
    channels_mhz = tuple(mhz for mhz in setup.usable_mhz if mhz in allowed)
    if not channels_mhz:
        return UsableToday((), setup.power_steps_mw, _no_channel(callsign, setup, rule_set))
    if rule_set is None:
        return UsableToday(channels_mhz, setup.power_steps_mw)

    def may_fly(mhz: int, power_mw: float) -> bool:
        return rules.judge(mhz, eirp_mw(power_mw, setup.gain_dbi), rule_set, width_mhz).inside

    weak_enough = tuple(mhz for mhz in channels_mhz if may_fly(mhz, setup.power_steps_mw[0]))
    if not weak_enough:
        return UsableToday((), setup.power_steps_mw, _too_strong(callsign, setup, rule_set))
    steps_mw = tuple(step for step in setup.power_steps_mw if all(may_fly(mhz, step) for mhz in weak_enough))
    return UsableToday(weak_enough, steps_mw)


def planner_pilot(pilot: RosterPilot, usable: UsableToday, current_mhz: int | None = None) -> Pilot:
    """A pilot as the planner sees it; current_mhz is the published or provisional channel."""
    return Pilot(
        callsign=pilot.callsign,
        channels_mhz=usable.channels_mhz,
        power_steps_mw=usable.power_steps_mw,
        antenna=pilot.setup.antenna,
        rx_antenna=pilot.setup.rx_antenna,
        gain_dbi=pilot.setup.gain_dbi,
        current_mhz=current_mhz,
        pin_mhz=pilot.pin_mhz,
        apart=frozenset(pilot.apart),
        together=frozenset(pilot.together),
        spotter=pilot.spotter,
        after=pilot.after,
        before=pilot.before,
        heat=pilot.heat,
        labels=pilot.setup.labels,
    )


def named_channels(channels_mhz: Iterable[int], setup: VideoSetup) -> str:
    """Channels in words, the first few where there are many: "R1 5658, R2 5695 MHz"."""
    channels = list(channels_mhz)
    words = [f"{label_at(mhz, setup.labels) or ''} {mhz}".strip() for mhz in channels[:_LISTED]]
    if len(channels) <= _LISTED:
        return f"{', '.join(words)} MHz"
    return _(
        "%(channels)s MHz and %(number)s more", channels=", ".join(words), number=len(channels) - _LISTED
    )


def _no_channel(callsign: str, setup: VideoSetup, rule_set: RuleSet | None) -> Conflict:
    has = _(
        "%(callsign)s can use only %(channels)s",
        callsign=callsign,
        channels=named_channels(setup.usable_mhz, setup),
    )
    if rule_set:
        within = _("The rules chosen for this day: %(rules)s", rules=_(rule_set.name))
        words = _(
            "%(has)s, and none of it lies within the rules chosen for this day: %(rules)s.",
            has=has,
            rules=_(rule_set.name),
        )
    else:
        within = _("The bands in use today")
        words = _("%(has)s, and none of it lies within the bands in use today.", has=has)
    return Conflict(
        (has, within),
        words,
        (
            _("Bring %(callsign)s a transmitter that tunes a channel in use today.", callsign=callsign),
            _("Choose rules or bands that hold one of these channels, if they apply here."),
            _("Take %(callsign)s off the roster.", callsign=callsign),
        ),
    )


def _too_strong(callsign: str, setup: VideoSetup, rule_set: RuleSet) -> Conflict:
    lowest_mw = setup.power_steps_mw[0]
    radiated_mw = eirp_mw(lowest_mw, setup.gain_dbi)
    limit_mw = max(one.max_eirp_mw or 0.0 for one in rule_set.ranges)
    has = _(
        "%(callsign)s's lowest power is %(lowest_mw)s mW (%(radiated_mw)s mW e.i.r.p.)",
        callsign=callsign,
        lowest_mw=short_decimal(lowest_mw),
        radiated_mw=short_decimal(float(f"{radiated_mw:.4g}")),
    )
    limit = _(
        "%(rules)s allows %(limit_mw)s mW e.i.r.p.", rules=_(rule_set.name), limit_mw=short_decimal(limit_mw)
    )
    return Conflict(
        (has, limit),
        _(
            "%(has)s, more than 3 dB above what the rules chosen for this day allow: %(limit_mw)s mW "
            "e.i.r.p.",
            has=has,
            limit_mw=short_decimal(limit_mw),
        ),
        (
            _("Bring %(callsign)s a transmitter or an antenna of less power.", callsign=callsign),
            _("Choose rules that allow it, if they apply here."),
            _("Take %(callsign)s off the roster.", callsign=callsign),
        ),
    )
