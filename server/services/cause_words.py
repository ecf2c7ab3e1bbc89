"""What takes most of a slot's margin, in words that a pilot can act on."""

from collections import Counter
from collections.abc import Sequence

from server.radio.interference import SlotMargin, Term
from server.services.words_below import translated
from server.wording import decimal, marked
from server.wording import gettext as _

TIMES, MINUS = "\N{MULTIPLICATION SIGN}", "\N{MINUS SIGN}"

ALIKE = 1.3
"""Shares within this factor, about 1 dB, count as the same."""

ALONE = marked("Flies alone: nothing interferes")


def cause_words(slot: SlotMargin) -> str:
    """One sentence on the largest term: "Otter's carrier, 37 MHz above, takes 61 %".

    Carriers that all take about the same are named together: no single neighbour is to blame, the distances
    of the site are.
    """
    term = slot.limiting_cause.largest_term
    if term is None:
        return _(ALONE)
    if alike := _alike_words(slot):
        return alike
    words = term_words(term)
    cause = slot.limiting_cause
    # One of many products says little by itself.
    is_one_of_many = cause.kind == "products" and term.share < 0.5
    return (
        _("%(words)s; all products %(share)s", words=words, share=percent(cause.share))
        if is_one_of_many
        else words
    )


def term_words(term: Term) -> str:
    """One term: "Otter's carrier, 37 MHz above, takes 61 %"."""
    where = _where(term.offset_mhz)
    if term.is_outside:
        name = translated(term.of[0])
        return _(
            "%(signal)s, %(where)s, takes %(share)s",
            signal=f"{name[:1].upper()}{name[1:]}",
            where=where,
            share=percent(term.share),
        )
    if term.kind == "carriers":
        return _(
            "%(callsign)s's carrier, %(where)s, takes %(share)s",
            callsign=term.of[0],
            where=where,
            share=percent(term.share),
        )
    return _(
        "%(product)s lands %(where)s, takes %(share)s",
        product=product_words(term.of),
        where=where,
        share=percent(term.share),
    )


def product_words(of: Sequence[str]) -> str:
    """The carriers that make a product; the last of them is subtracted."""
    *added, minus = of
    count = Counter(added)
    plus = " + ".join(f"2 {TIMES} {name}" if times == 2 else name for name, times in count.items())
    return f"{plus} {MINUS} {minus}"


def _alike_words(slot: SlotMargin) -> str:
    """For carriers of about the same share that together take most; empty where one stands out."""
    carriers = [term for term in slot.terms if term.kind == "carriers"]
    largest = max((term.share for term in slot.terms), default=0.0)
    alike = [term for term in carriers if term.share * ALIKE >= largest]
    share = sum(term.share for term in alike)
    if len(alike) < 2 or share < 0.5:
        return ""
    each = percent(share / len(alike))
    if len(alike) == len(carriers) == 2:
        return _("Both carriers alike, %(share)s each", share=each)
    if len(alike) == len(carriers):
        return _("All %(number)s carriers alike, %(share)s each", number=len(carriers), share=each)
    if len(alike) == 2:
        one, other = (term.of[0] for term in alike)
        return _("%(one)s's and %(other)s's carriers take %(share)s each", one=one, other=other, share=each)
    return _(
        "%(number)s of %(all)s carriers alike, %(share)s each",
        number=len(alike),
        all=len(carriers),
        share=each,
    )


def _where(offset_mhz: int) -> str:
    if offset_mhz == 0:
        return _("right on this channel")
    if offset_mhz > 0:
        return _("%(mhz)s MHz above", mhz=offset_mhz)
    return _("%(mhz)s MHz below", mhz=-offset_mhz)


def percent(share: float) -> str:
    """A share, 0 to 1, in words."""
    return _("%(share)s %%", share=decimal(share * 100, 0)) if share >= 0.005 else _("less than 1 %")
