"""What takes most of a slot's margin, in words that a pilot can act on."""

from collections import Counter
from collections.abc import Sequence

from server.radio.interference import SlotMargin, Term

TIMES, MINUS = "\N{MULTIPLICATION SIGN}", "\N{MINUS SIGN}"

ALIKE = 1.3
"""Shares within this factor, about 1 dB, count as the same."""

ALONE = "Flies alone: nothing interferes"


def cause_words(slot: SlotMargin) -> str:
    """One sentence on the largest term: "Otter's carrier, 37 MHz above, takes 61 %".

    Carriers that all take about the same are named together: no single neighbour is to blame, the distances
    of the site are.
    """
    term = slot.limiting_cause.largest_term
    if term is None:
        return ALONE
    if alike := _alike_words(slot):
        return alike
    words = term_words(term)
    cause = slot.limiting_cause
    # One of many products says little by itself.
    is_one_of_many = cause.kind == "products" and term.share < 0.5
    return f"{words}; all products {percent(cause.share)}" if is_one_of_many else words


def term_words(term: Term) -> str:
    """One term: "Otter's carrier, 37 MHz above, takes 61 %"."""
    where = _where(term.offset_mhz)
    if term.is_outside:
        name = term.of[0]
        return f"{name[:1].upper()}{name[1:]}, {where}, takes {percent(term.share)}"
    if term.kind == "carriers":
        return f"{_possessive(term.of[0])} carrier, {where}, takes {percent(term.share)}"
    return f"{product_words(term.of)} lands {where}, takes {percent(term.share)}"


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
    each = f"{percent(share / len(alike))} each"
    if len(alike) == len(carriers):
        return f"{f'All {len(carriers)}' if len(carriers) > 2 else 'Both'} carriers alike, {each}"
    if len(alike) == 2:
        return f"{' and '.join(_possessive(term.of[0]) for term in alike)} carriers take {each}"
    return f"{len(alike)} of {len(carriers)} carriers alike, {each}"


def _where(offset_mhz: int) -> str:
    if offset_mhz == 0:
        return "right on this channel"
    return f"{abs(offset_mhz)} MHz {'above' if offset_mhz > 0 else 'below'}"


def _possessive(callsign: str) -> str:
    return f"{callsign}'s"


def percent(share: float) -> str:
    """A share, 0 to 1, in words."""
    return f"{share * 100:.0f} %" if share >= 0.005 else "less than 1 %"
