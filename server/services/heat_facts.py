"""One heat of a snapshot: what the radio model says of it and of each slot, as plain JSON values."""

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from server.allocator.scoring import station
from server.radio.channels import lookalikes
from server.radio.interference import SlotMargin, Station, heat_margins, wanted_level_dbm
from server.radio.site import Site
from server.services.cause_words import cause_words
from server.services.drafts import DraftHeat
from server.services.explanations import explanation, landing_products
from server.services.gear import label_at
from server.services.margin_words import least, rounded
from server.services.plan_basis import PlanBasis


def heat_facts(number: int, heat: DraftHeat, basis: PlanBasis) -> dict[str, Any]:
    """A heat as a snapshot keeps it: its own numbers, the products that it makes, and every slot's facts.

    weakest_wanted_dbm  level of the weakest of the own aircraft at the far distance
    products            where they land, see `explanations.landing_products`
    """
    gear = [basis.pilots[slot.pilot_id] for slot in heat.slots]
    stations = [station(pilot, slot.mhz, slot.power_mw) for pilot, slot in zip(gear, heat.slots, strict=True)]
    lost = tuple(
        Station(one.callsign, one.mhz, one.power_mw, one.antenna, gain_dbi=one.gain_dbi) for one in basis.down
    )
    computed = _computed(tuple(stations), lost, basis.problem.site)
    return {
        "heat": number,
        "round": heat.round,
        **computed.of_heat,
        "proved": heat.is_proved,
        "slots": [
            {
                "pilot_id": slot.pilot_id,
                "callsign": pilot.callsign,
                "channel": label_at(slot.mhz, pilot.labels),
                "mhz": slot.mhz,
                "power_mw": slot.power_mw,
                "antenna": pilot.antenna,
                **facts,
                "lookalikes": [
                    {"channel": channel.label, "mhz": channel.mhz} for channel in lookalikes(slot.mhz)
                ],
            }
            for slot, pilot, facts in zip(heat.slots, gear, computed.of_slots, strict=True)
        ],
    }


@dataclass(frozen=True)
class _Computed:
    """What the radio model says of one heat and of its slots, in their order."""

    of_heat: dict[str, Any]
    of_slots: tuple[dict[str, Any], ...]


@lru_cache(maxsize=1024)
def _computed(stations: tuple[Station, ...], lost: tuple[Station, ...], site: Site) -> _Computed:
    """Kept, since an edit changes one heat of many and every look at the page needs them all.

    lost  transmitters that are down and still on: heard by everybody, nobody's picture
    """
    margins = heat_margins((*stations, *lost), site)
    slots = margins.slots[: len(stations)]
    of_heat = {
        "worst_margin_db": rounded(least(slot.margin_db for slot in slots)),
        "stressed_margin_db": rounded(least(slot.stressed_margin_db for slot in slots)),
        "site_ceiling_db": rounded(margins.site_ceiling_db),
        "weakest_wanted_dbm": rounded(min((wanted_level_dbm(one, site) for one in stations), default=None)),
        "products": landing_products(replace(margins, slots=slots)),
    }
    return _Computed(of_heat, tuple(_margin_facts(slot) for slot in slots))


def _margin_facts(slot: SlotMargin) -> dict[str, Any]:
    return {
        "margin_db": rounded(slot.margin_db),
        "stressed_margin_db": rounded(slot.stressed_margin_db),
        "picture_grade": slot.picture_grade,
        "grade_low": slot.grade_low,
        "grade_high": slot.grade_high,
        "grade_word": slot.grade_word,
        "link_margin_db": rounded(slot.link_margin_db),
        "link_enough": slot.is_link_enough,
        "range_kept_m": round(slot.range_kept_m),
        "range_threshold_m": round(slot.range_threshold_m),
        "overloaded": slot.is_overloaded,
        "limiting_cause": _cause(slot),
        "cause_words": cause_words(slot),
        "explanation": explanation(slot),
    }


def _cause(slot: SlotMargin) -> dict[str, Any]:
    cause, term = slot.limiting_cause, slot.limiting_cause.largest_term
    return {
        "kind": cause.kind,
        "share": round(cause.share, 3),
        "by_pilot": [{"callsign": one.callsign, "share": round(one.share, 3)} for one in cause.by_pilot],
        "largest_term": term
        and {
            "of": list(term.of),
            "at_mhz": term.at_mhz,
            "offset_mhz": term.offset_mhz,
            "margin_db": rounded(term.margin_db),
        },
    }
