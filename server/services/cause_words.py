"""What takes most of a slot's margin, in words that a pilot can act on."""

from collections import Counter

from server.radio.interference import SlotMargin, Term

TIMES, MINUS = "\N{MULTIPLICATION SIGN}", "\N{MINUS SIGN}"

ALONE = "Flies alone: nothing interferes"


def cause_words(slot: SlotMargin) -> str:
    """One sentence on the largest term: "Otter's carrier, 37 MHz above, takes 61 %"."""
    term = slot.limiting_cause.largest_term
    if term is None:
        return ALONE
    where = _where(term.offset_mhz)
    if term.kind == "carriers":
        return f"{_possessive(term.of[0])} carrier, {where}, takes {_percent(term.share)}"
    return f"{product_words(term)} lands {where}, takes {_percent(term.share)}"


def product_words(term: Term) -> str:
    """The carriers that make a product; the last of them is subtracted."""
    *added, minus = term.of
    count = Counter(added)
    plus = " + ".join(f"2 {TIMES} {name}" if times == 2 else name for name, times in count.items())
    return f"{plus} {MINUS} {minus}"


def _where(offset_mhz: int) -> str:
    if offset_mhz == 0:
        return "right on this channel"
    return f"{abs(offset_mhz)} MHz {'above' if offset_mhz > 0 else 'below'}"


def _possessive(callsign: str) -> str:
    return f"{callsign}'s"


def _percent(share: float) -> str:
    return f"{share * 100:.0f} %" if share >= 0.005 else "less than 1 %"
