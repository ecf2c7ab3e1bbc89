"""A given set of channels, scored: `bandstand check`."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from server.allocator.problem import MOST_PILOTS_IN_A_HEAT
from server.radio import rules
from server.radio.errors import TuningError
from server.radio.interference import HeatMargins, SlotMargin, Station, Term, heat_margins
from server.radio.tuning import tuning_words
from server.services.cause_words import cause_words, product_words
from server.services.faults import Fault, FaultyInputError
from server.services.gear import label_at
from server.services.report_assumptions import Assumption
from server.services.report_texts import assumed, decibels, listed, picture, table_lines
from server.services.reports import DB_DIGITS, SHARE_DIGITS, assumption_objects, margin_object, rounded
from server.services.site_settings import SiteSettings
from server.services.usable import rules_width_mhz

PRODUCT_REACH_MHZ = 35
"""Products farther from a channel than this do little: the protection ratio is near its floor."""

PRODUCTS_SHOWN = 3
COMMAND_LINE = "command line"


@dataclass(frozen=True)
class ChannelCheck:
    """Equal transmitters on given channels.

    labels  of each station, None for a carrier outside the table
    """

    stations: tuple[Station, ...]
    labels: tuple[str | None, ...]
    margins: HeatMargins
    warnings: tuple[str, ...]

    def rows(self) -> Iterable[tuple[Station, str | None, SlotMargin]]:
        return zip(self.stations, self.labels, self.margins.slots, strict=True)


def check_channels(text: str, power_mw: float, settings: SiteSettings) -> ChannelCheck:
    """Score the channels of a list, every transmitter with the same power. Raises FaultyInputError.

    A channel that is listed twice is two transmitters on it.
    """
    carriers = _carriers(text)
    times: Counter[str] = Counter()
    stations = []
    for mhz, label in carriers:
        name = label or str(mhz)
        times[name] += 1
        stations.append(Station(name if times[name] == 1 else f"{name} ({times[name]})", mhz, power_mw))
    margins = heat_margins(stations, settings.site)
    labels = tuple(label for _, label in carriers)
    return ChannelCheck(tuple(stations), labels, margins, _warnings(stations, settings))


def near_products(slot: SlotMargin) -> tuple[Term, ...]:
    """Products within reach of a slot's channel, the strongest first."""
    return tuple(
        term for term in slot.terms if term.kind == "products" and abs(term.offset_mhz) <= PRODUCT_REACH_MHZ
    )


def check_object(check: ChannelCheck, assumptions: Iterable[Assumption]) -> dict[str, Any]:
    return {
        "worst_margin_db": rounded(check.margins.worst_margin_db, DB_DIGITS),
        "stressed_margin_db": rounded(check.margins.stressed_margin_db, DB_DIGITS),
        "site_ceiling_db": rounded(check.margins.site_ceiling_db, DB_DIGITS),
        "channels": [
            {
                "channel": label,
                "mhz": station.mhz,
                "power_mw": rounded(station.power_mw, DB_DIGITS),
                **margin_object(slot),
                "products": [_product_object(term) for term in near_products(slot)],
            }
            for station, label, slot in check.rows()
        ],
        "warnings": list(check.warnings),
        "assumptions": assumption_objects(assumptions),
    }


def check_text(check: ChannelCheck, assumptions: Iterable[Assumption]) -> str:
    margins = check.margins
    rows = [("Channel", "MHz", "Margin", "Picture", "Limiting cause")]
    for station, _, slot in check.rows():
        facts = (station.callsign, str(station.mhz), decibels(slot.margin_db), picture(slot))
        rows.append((*facts, cause_words(slot)))
    power_mw = check.stations[0].power_mw
    parts = [
        f"{len(check.stations)} transmitters of {power_mw:g} mW. "
        f"Worst margin: {decibels(margins.worst_margin_db)}; "
        f"stressed {decibels(margins.stressed_margin_db)}; the best possible at this site "
        f"{decibels(margins.site_ceiling_db)}.",
        "\n".join(table_lines(rows)),
        _products_text(check),
        listed("Warnings", check.warnings),
        assumed(assumptions),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _carriers(text: str) -> Sequence[tuple[int, str | None]]:
    try:
        words = tuning_words(text)
    except TuningError as error:
        raise _fault(error.word, error.problem, error.cure) from None
    carriers = [carrier for word in words for carrier in word.carriers]
    if len(carriers) > MOST_PILOTS_IN_A_HEAT:
        problem = f"{len(carriers)} channels cannot share the air"
        raise _fault(text, problem, f"list at most {MOST_PILOTS_IN_A_HEAT}")
    return [(mhz, label or label_at(mhz, {})) for mhz, label in carriers]


def _fault(text: str, problem: str, cure: str) -> FaultyInputError:
    return FaultyInputError([Fault(COMMAND_LINE, 1, "CHANNELS", text, problem, cure)])


def _warnings(stations: Iterable[Station], settings: SiteSettings) -> tuple[str, ...]:
    receiver = settings.site.receiver
    width_mhz = rules_width_mhz(settings.rule_set, receiver)
    found: list[str] = []
    for station in stations:
        if settings.rule_set is not None:
            verdict = rules.judge(station.mhz, station.power_mw, settings.rule_set, width_mhz)
            found += [f"{station.callsign}: {text}" for text in (*verdict.warnings, *verdict.reasons)]
        elif rules.touches_flagged(station.mhz, width_mhz):
            found.append(f"{station.callsign}: {station.mhz} MHz touches a range where radars work.")
    return tuple(dict.fromkeys(found))


def _product_object(term: Term) -> dict[str, Any]:
    return {
        "of": list(term.of),
        "at_mhz": term.at_mhz,
        "offset_mhz": term.offset_mhz,
        "margin_db": rounded(term.margin_db, DB_DIGITS),
        "share": rounded(term.share, SHARE_DIGITS),
    }


def _products_text(check: ChannelCheck) -> str:
    lines = []
    for station, _, slot in check.rows():
        near = near_products(slot)
        for term in near[:PRODUCTS_SHOWN]:
            lines.append(
                f"  {station.callsign}: {product_words(term.of)} at {term.at_mhz} MHz, {term.offset_mhz:+d} MHz, "
                f"leaves {decibels(term.margin_db)}"
            )
        if len(near) > PRODUCTS_SHOWN:
            lines.append(f"  {station.callsign}: and {len(near) - PRODUCTS_SHOWN} weaker")
    title = f"Products within {PRODUCT_REACH_MHZ} MHz of a channel, the strongest first"
    return "\n".join([title, *lines]) if lines else ""
