"""What is said of the powers of a plan: the common level, how far it carries, and who cannot go as low."""

from collections.abc import Iterable, Mapping, Sequence

from server.allocator.plan import HotTransmitter, LevelTried
from server.radio.site import Site
from server.wording import decimal, listed, ngettext, short_decimal
from server.wording import gettext as _

MOST_NAMED = 3
"""Of transmitters above the common level; the costliest first, the others are counted."""

LEAST_COST_DB = 0.05
"""What is less would be shown as 0.0 dB."""


def level_words(levels: Sequence[LevelTried], hot: Sequence[HotTransmitter], site: Site) -> str:
    """ "25 mW for everybody: it carries to 198 m, the course needs 80."; nothing where no level was chosen."""
    chosen = _chosen(levels)
    if chosen is None:
        return ""
    values = {
        "common_mw": short_decimal(chosen.common_mw),
        "kept_m": decimal(chosen.kept_m, 0),
        "course_m": short_decimal(site.far_m),
    }
    if chosen.is_for_all:
        return _(
            "%(common_mw)s mW for everybody: it carries to %(kept_m)s m, the course needs %(course_m)s.",
            **values,
        )
    if hot:
        return _(
            "Everybody sets the highest own step up to %(common_mw)s mW, or the lowest where all are above; "
            "the weakest carries to %(kept_m)s m, the course needs %(course_m)s.",
            **values,
        )
    return _(
        "Everybody sets the highest own step up to %(common_mw)s mW; the weakest carries to %(kept_m)s m, "
        "the course needs %(course_m)s.",
        **values,
    )


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
    who = (
        _("%(names)s and %(number)s more", names=", ".join(names[:MOST_NAMED]), number=others)
        if others > 0
        else listed(names)
    )
    return _(
        "Above what %(rules)s allows, so not tried: %(steps)s mW (%(who)s).",
        rules=rules_name,
        steps=listed(short_decimal(step) for step in steps),
        who=who,
    )


def _weak_link(levels: Sequence[LevelTried], site: Site) -> Iterable[str]:
    chosen = _chosen(levels)
    if chosen is None or chosen.is_link_enough:
        return
    text = _(
        "At %(common_mw)s mW the weakest link keeps %(link_db)s dB above the threshold, less than "
        "the %(allowance_db)s dB wanted: it carries to %(kept_m)s m, the course needs %(course_m)s.",
        common_mw=short_decimal(chosen.common_mw),
        link_db=decimal(chosen.link_db, 1),
        allowance_db=short_decimal(site.receiver.fade_allowance_db),
        kept_m=decimal(chosen.kept_m, 0),
        course_m=short_decimal(site.far_m),
    )
    enough = next((level for level in levels if level.is_link_enough), None)
    if enough is None:
        yield f"{text} {_('No level keeps enough: fly nearer, or raise the power within the rules.')}"
    else:
        cure = _("At %(power)s mW it would keep enough.", power=short_decimal(enough.common_mw))
        yield f"{text} {cure}"


def _hot(levels: Sequence[LevelTried], hot: Sequence[HotTransmitter]) -> Iterable[str]:
    chosen = _chosen(levels)
    if chosen is None:
        return
    costliest = sorted(hot, key=lambda one: -one.cost_db)
    for one in costliest[:MOST_NAMED]:
        values = {
            "callsign": one.callsign,
            "power_mw": short_decimal(one.power_mw),
            "common_mw": short_decimal(chosen.common_mw),
            "cost": _cost(one),
        }
        if one.is_set:
            yield _(
                "%(callsign)s is set to %(power_mw)s mW, above the common %(common_mw)s mW: %(cost)s.",
                **values,
            )
        else:
            yield _(
                "%(callsign)s cannot go below %(power_mw)s mW, above the common %(common_mw)s mW: %(cost)s.",
                **values,
            )
    others = len(costliest) - MOST_NAMED
    if others > 0:
        yield ngettext(
            "%(number)s more transmits above the common level, at no more cost than these.",
            "%(number)s more transmit above the common level, at no more cost than these.",
            others,
        )


def _cost(one: HotTransmitter) -> str:
    if one.sufferer is None:
        return _("it shares no heat")
    if one.cost_db < LEAST_COST_DB:
        return _("that costs the others nothing")
    return _(
        "that costs the others %(cost_db)s dB; %(sufferer)s in heat %(heat)s suffers most "
        "(%(margin_db)s instead of %(at_common_db)s dB at worst)",
        cost_db=decimal(one.cost_db, 1),
        sufferer=one.sufferer,
        heat=one.heat,
        margin_db=decimal(one.margin_db or 0.0, 1, signed=True),
        at_common_db=decimal(one.margin_at_common_db or 0.0, 1, signed=True),
    )


def _chosen(levels: Sequence[LevelTried]) -> LevelTried | None:
    return next((level for level in levels if level.is_chosen), None)
