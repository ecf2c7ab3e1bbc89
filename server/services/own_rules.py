"""Rules that the organiser enters: ranges, who allows them, whether a licence is needed."""

import re

from server.radio.errors import RuleError
from server.radio.rules import RuleRange, RuleSet
from server.services.faults import shown
from server.wording import gettext as _
from server.wording import marked

OWN_KEY = "own"
MOST_RANGES = 30

_RANGE = re.compile(
    r"([0-9.]{1,12})\s*(?:-|to)\s*([0-9.]{1,12})\s*(?:MHz)?(?:[\s,:]+([0-9.]{1,12})\s*(?:mW)?)?",
    re.IGNORECASE,
)


def own_rule_set(ranges: str, source: str, is_licence_needed: bool, year: int) -> RuleSet:
    """The rule set of what was typed for a day of that year. Raises RuleError for its ranges."""
    return RuleSet(
        key=OWN_KEY,
        name=marked("Ranges of our own"),
        ranges=read_ranges(ranges),
        licence_needed=is_licence_needed,
        conditions=marked("Entered by the organiser for this day."),
        source=source,
        year=year,
        tag="own",
    )


def read_ranges(text: str) -> tuple[RuleRange, ...]:
    """Ranges from lines such as "5725-5875 25": low and high edge in MHz, highest e.i.r.p. in mW or nothing.

    Raises RuleError.
    """
    lines = [line.strip() for line in text.replace(";", "\n").splitlines() if line.strip()]
    if len(lines) > MOST_RANGES:
        raise RuleError(
            text,
            _("%(number)s ranges are too many", number=len(lines)),
            _("give at most %(most)s", most=MOST_RANGES),
        )
    return tuple(_range(line) for line in lines)


def _range(line: str) -> RuleRange:
    plain = re.sub("[\N{EN DASH}\N{EM DASH}\N{MINUS SIGN}]", "-", line)
    found = _RANGE.fullmatch(plain)
    cure = _("write low-high in MHz, then the highest e.i.r.p. in mW if there is one, such as 5725-5875 25")
    if not found:
        raise RuleError(line, _("“%(line)s” is not a range", line=shown(line)), cure)
    try:
        low_mhz, high_mhz = _number(found[1]), _number(found[2])
        limit_mw = _number(found[3]) if found[3] else None
    except ValueError:
        raise RuleError(line, _("“%(line)s” is not a range", line=shown(line)), cure) from None
    return RuleRange(low_mhz, high_mhz, limit_mw)


def _number(digits: str) -> float:
    return int(digits) if digits.isdecimal() else float(digits)
