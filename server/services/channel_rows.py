"""The channels of the table on one day: in use, or why not."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from server.radio import rules
from server.radio.channels import CATALOGUE, Channel, labels_at
from server.radio.rules import RuleSet
from server.services.days import DaySettings, is_in_bands
from server.wording import gettext as _
from server.wording import listed, marked, short_decimal

IN_USE = marked("in use")
BANNED = marked("out of use today")
FLAGGED = marked("radar range")
OUTSIDE = marked("outside the rules")
NOT_USED = marked("band not used")


@dataclass(frozen=True)
class ChannelRow:
    """One carrier with all its labels; `state` is one of the words above, `why` a sentence unless in use."""

    mhz: int
    labels: tuple[str, ...]
    state: str
    why: str

    @property
    def name(self) -> str:
        return " ".join(self.labels)


def channel_rows(settings: DaySettings, rule_set: RuleSet | None, width_mhz: float) -> tuple[ChannelRow, ...]:
    """Every carrier of the table, ascending."""
    carriers_mhz = sorted({channel.mhz for channel in CATALOGUE})
    return tuple(_row(mhz, settings, rule_set, width_mhz) for mhz in carriers_mhz)


def channels_inside(rule_set: RuleSet, width_mhz: float) -> tuple[Channel, ...]:
    """The channels of the table that an automatic plan may use under these rules, in the order of the table."""
    inside = set(rules.allowed_mhz((channel.mhz for channel in CATALOGUE), rule_set, width_mhz))
    return tuple(channel for channel in CATALOGUE if channel.mhz in inside)


def runs_of(channels: Iterable[Channel]) -> list[str]:
    """Channels in few words: a run of one band as its first and last label with a dash, or one label."""
    runs: list[list[Channel]] = []
    for channel in channels:
        last = runs[-1][-1] if runs else None
        if last and last.band == channel.band and last.number + 1 == channel.number:
            runs[-1].append(channel)
        else:
            runs.append([channel])
    return [_run(run) for run in runs]


def _run(run: Sequence[Channel]) -> str:
    return run[0].label if len(run) == 1 else f"{run[0].label}\N{EN DASH}{run[-1].label}"


def _row(mhz: int, settings: DaySettings, rule_set: RuleSet | None, width_mhz: float) -> ChannelRow:
    low_mhz, high_mhz = mhz - width_mhz / 2, mhz + width_mhz / 2
    reaches = {"low": short_decimal(low_mhz), "high": short_decimal(high_mhz)}
    if not is_in_bands(mhz, settings):
        state, why = NOT_USED, _("Its band is not used today.")
    elif mhz in settings.bans:
        state, why = BANNED, _("It was taken out of use for today.")
    elif rules.touches_flagged(mhz, width_mhz):
        touched = [(low, high) for low, high in rules.FLAGGED_RANGES if low_mhz < high and low < high_mhz]
        ranges = listed(f"{low}-{high}" for low, high in touched)
        words = _(
            "It reaches from %(low)s to %(high)s MHz, into %(ranges)s MHz, where radars work.",
            ranges=ranges,
            **reaches,
        )
        state, why = FLAGGED, words
    elif rule_set is not None and not any(one.holds(mhz, width_mhz) for one in rule_set.ranges):
        ranges = ", ".join(
            f"{short_decimal(one.low_mhz)}-{short_decimal(one.high_mhz)}" for one in rule_set.ranges
        )
        words = _(
            "It reaches from %(low)s to %(high)s MHz, outside %(ranges)s MHz.", ranges=ranges, **reaches
        )
        state, why = OUTSIDE, words
    else:
        state, why = IN_USE, ""
    return ChannelRow(mhz, labels_at(mhz), state, why)
