"""Why a slot's margin is what it is, in numbers and words that a snapshot keeps.

The shares of kinds and of terms add up to the whole interference of the slot; those of pilots, which the limiting
cause has, overlap, since a product has several makers.
"""

from collections.abc import Sequence
from typing import Any

from server.radio import decibels
from server.radio.interference import HeatMargins, SlotMargin, Term
from server.services.cause_words import term_words
from server.services.margin_words import rounded

MOST_TERMS = 6
LEAST_SHARE = 0.01
"""A term that takes less is counted among the rest."""


def explanation(slot: SlotMargin) -> dict[str, Any]:
    """What takes the margin of one slot.

    carriers, products, outside  their shares of the whole interference, 0 to 1
    terms               the largest single terms, each with its place, level, own margin, share and words
    rest                how many terms are left out here, and their share
    """
    told = [term for term in slot.terms if term.share >= LEAST_SHARE][:MOST_TERMS]
    shares = {
        kind: round(sum(term.share for term in slot.terms if term.kind == kind), 3)
        for kind in ("carriers", "products", "outside")
    }
    return {
        **shares,
        "terms": [_term(term) for term in told],
        "rest": {
            "count": len(slot.terms) - len(told),
            "share": round(sum(term.share for term in slot.terms[len(told) :]), 3),
        },
    }


def landing_products(margins: HeatMargins) -> list[dict[str, Any]]:
    """Where products land in a heat, from the lowest, each as the receiver nearest to it hears it.

    Products on one MHz are summed. What the nearest receiver does not suffer (its own carrier takes part) is left
    out: at any other it lies farther off than that one's channel.

    level_dbm  at that receiver; of two as near, at the one that hears it louder
    of         makers of the loudest of them; the last is subtracted
    """
    landing: dict[int, dict[int, list[Term]]] = {}
    tuned_mhz = {slot.terms[0].at_mhz - slot.terms[0].offset_mhz for slot in margins.slots if slot.terms}
    for term in (term for slot in margins.slots for term in slot.terms if term.kind == "products"):
        if abs(term.offset_mhz) == min(abs(term.at_mhz - mhz) for mhz in tuned_mhz):
            landing.setdefault(term.at_mhz, {}).setdefault(term.at_mhz - term.offset_mhz, []).append(term)
    found = []
    for at_mhz, heard in sorted(landing.items()):
        terms = max(heard.values(), key=_sum_dbm)
        loudest = max(terms, key=lambda term: (term.level_dbm, term.of))
        found.append({"mhz": at_mhz, "level_dbm": round(_sum_dbm(terms), 1), "of": list(loudest.of)})
    return found


def _sum_dbm(terms: Sequence[Term]) -> float:
    return float(decibels.dbm_from_mw(decibels.mw_from_dbm([term.level_dbm for term in terms]).sum()))


def _term(term: Term) -> dict[str, Any]:
    return {
        "of": list(term.of),
        "at_mhz": term.at_mhz,
        "offset_mhz": term.offset_mhz,
        "level_dbm": round(term.level_dbm, 1),
        "margin_db": rounded(term.margin_db),
        "share": round(term.share, 3),
        "words": term_words(term),
    }
