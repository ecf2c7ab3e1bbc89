"""What is said of the powers of a plan: the common level, how far it carries, and who cannot go as low."""

from collections.abc import Iterable, Mapping, Sequence

from server.allocator.plan import HotTransmitter, LevelTried
from server.radio.site import Site

MOST_NAMED = 3
"""Of transmitters above the common level; the costliest first, the others are counted."""

LEAST_COST_DB = 0.05
"""What is less would be shown as 0.0 dB."""


def level_words(levels: Sequence[LevelTried], hot: Sequence[HotTransmitter], site: Site) -> str:
    """ "25 mW for everybody: it carries to 198 m, the course needs 80."; nothing where no level was chosen."""
    chosen = _chosen(levels)
    if chosen is None:
        return ""
    reach = f"carries to {chosen.kept_m:.0f} m, the course needs {site.far_m:g}."
    if chosen.is_for_all:
        return f"{chosen.common_mw:g} mW for everybody: it {reach}"
    lowest = ", or the lowest where all are above" if hot else ""
    return f"Everybody sets the highest own step up to {chosen.common_mw:g} mW{lowest}; the weakest {reach}"


def power_warnings(levels: Sequence[LevelTried], hot: Sequence[HotTransmitter], site: Site) -> list[str]:
    """A link that is too weak, and transmitters above the common level with what that costs the others."""
    return [*_weak_link(levels, site), *_hot(levels, hot)]


def above_rules_words(above: Mapping[str, Sequence[float]], rules_name: str) -> str:
    """Steps that the rules chosen do not allow, by callsign; nothing where there are none."""
    steps = sorted({step for own in above.values() for step in own})
    if not steps:
        return ""
    names = list(above)
    others = len(names) - MOST_NAMED
    who = f"{', '.join(names[:MOST_NAMED])} and {others} more" if others > 0 else _listed(names)
    return f"Above what {rules_name} allows, so not tried: {_listed([f'{step:g}' for step in steps])} mW ({who})."


def _weak_link(levels: Sequence[LevelTried], site: Site) -> Iterable[str]:
    chosen = _chosen(levels)
    if chosen is None or chosen.is_link_enough:
        return
    allowance = f"{site.receiver.fade_allowance_db:g} dB"
    text = (
        f"At {chosen.common_mw:g} mW the weakest link keeps {_tenths(chosen.link_db)} dB above the threshold, "
        f"less than the {allowance} wanted: it carries to {chosen.kept_m:.0f} m, the course needs {site.far_m:g}. "
    )
    if any(level.is_link_enough for level in levels):
        enough = next(level for level in levels if level.is_link_enough)
        yield f"{text}At {enough.common_mw:g} mW it would keep enough."
    else:
        yield f"{text}No level keeps enough: fly nearer, or raise the power within the rules."


def _hot(levels: Sequence[LevelTried], hot: Sequence[HotTransmitter]) -> Iterable[str]:
    chosen = _chosen(levels)
    if chosen is None:
        return
    costliest = sorted(hot, key=lambda one: -one.cost_db)
    for one in costliest[:MOST_NAMED]:
        how = "is set to" if one.is_set else "cannot go below"
        yield f"{one.callsign} {how} {one.power_mw:g} mW, above the common {chosen.common_mw:g} mW: {_cost(one)}."
    others = len(costliest) - MOST_NAMED
    if others > 0:
        verb = "transmits" if others == 1 else "transmit"
        yield f"{others} more {verb} above the common level, at no more cost than these."


def _cost(one: HotTransmitter) -> str:
    if one.sufferer is None:
        return "it shares no heat"
    if one.cost_db < LEAST_COST_DB:
        return "that costs the others nothing"
    return (
        f"that costs the others {one.cost_db:.1f} dB; {one.sufferer} in heat {one.heat} suffers most "
        f"({_signed(one.margin_db)} instead of {_signed(one.margin_at_common_db)} dB at worst)"
    )


def _chosen(levels: Sequence[LevelTried]) -> LevelTried | None:
    return next((level for level in levels if level.is_chosen), None)


def _tenths(value: float) -> str:
    """With a true minus, never a negative zero."""
    return f"{round(value, 1) + 0.0:.1f}".replace("-", "\N{MINUS SIGN}")


def _signed(value: float | None) -> str:
    return f"{round(value or 0.0, 1) + 0.0:+.1f}".replace("-", "\N{MINUS SIGN}")


def _listed(words: Sequence[str]) -> str:
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last
