"""The margin of every slot of a heat, and what takes it.

The worst moment of pilot i: the own aircraft at the far distance, every other aircraft of the heat at
the near distance, all receivers together. Matrices: row receives, column transmits. What else is on the air
at the site (`Site.outside`) is heard by everybody; it takes part in no product.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from server.radio import decibels, grade
from server.radio.mixing import Products, product_frequency_mhz, product_level_dbm, third_order_products
from server.radio.propagation import cross_polar_credit_db, free_space_loss_db, own_mismatch_db
from server.radio.receiver import (
    block_protection_db,
    compression_level_dbm,
    link_margin_db,
    protection_ratio_db,
)
from server.radio.site import Receiver, Site

STRESS_DB = 10.0
"""How much lower the intercept point is in the stressed margin: a poor receiver, or hotter transmitters."""

SPAN_DB = 5.0
"""How far the intercept point is moved to either side for the span of a grade."""

SPAN_SHOWN_GRADE = 0.5


@dataclass(frozen=True)
class Station:
    """One pilot's transmitter and receiver in a heat."""

    callsign: str
    mhz: int
    power_mw: float
    antenna: str = "rhcp"
    rx_antenna: str = "rhcp"
    gain_dbi: float = 0.0

    @property
    def eirp_dbm(self) -> float:
        """Radiated power in dBm."""
        return float(decibels.dbm_from_mw(self.power_mw)) + self.gain_dbi


@dataclass(frozen=True)
class Share:
    """The part of a slot's whole interference, 0 to 1, that goes away when this pilot does."""

    callsign: str
    share: float


@dataclass(frozen=True)
class Term:
    """One carrier, product or outside signal at one receiver.

    of           callsigns: (A,) a carrier; (A, A, B) the product 2A - B; (A, B, C) the product A + B - C; of an
                 outside signal the words for it
    at_mhz       where it lies, a block by its middle
    offset_mhz   how far above the receiver's channel (negative: below)
    level_dbm    at the receiver
    margin_db    what this term alone would leave
    share        of the slot's whole interference, 0 to 1
    """

    of: tuple[str, ...]
    at_mhz: int
    offset_mhz: int
    level_dbm: float
    margin_db: float
    share: float
    is_outside: bool = False

    @property
    def kind(self) -> str:
        """Carriers, products or outside."""
        if self.is_outside:
            return "outside"
        return "carriers" if len(self.of) == 1 else "products"


@dataclass(frozen=True)
class LimitingCause:
    """What takes most of a slot's margin: by kind, by pilot, and the largest single term."""

    kind: str
    share: float
    by_pilot: tuple[Share, ...] = ()
    largest_term: Term | None = None


@dataclass(frozen=True)
class SlotMargin:
    """All that the model says of one slot; margins are None for a pilot who flies alone."""

    callsign: str
    margin_db: float | None
    stressed_margin_db: float | None
    picture_grade: float
    grade_low: float
    grade_high: float
    link_margin_db: float
    is_link_enough: bool
    range_kept_m: float
    range_threshold_m: float
    is_overloaded: bool
    limiting_cause: LimitingCause
    terms: tuple[Term, ...]

    @property
    def grade_word(self) -> str:
        """Clean, specks, lines or do not fly."""
        return grade.grade_word(self.picture_grade)

    @property
    def depends_on_receiver(self) -> bool:
        """Whether the grade must be shown with its span over receivers."""
        return self.grade_high - self.grade_low > SPAN_SHOWN_GRADE


@dataclass(frozen=True)
class HeatMargins:
    """The slots of one heat in the order given, with the worst of them and the best a site allows."""

    slots: tuple[SlotMargin, ...]
    worst_margin_db: float | None
    stressed_margin_db: float | None
    site_ceiling_db: float | None


def site_ceiling_db(count: int, site: Site) -> float | None:
    """Best worst margin in dB of any plan with ``count`` aircraft of equal gear up; None below two.

    Every other carrier then lies past the floor of the protection ratio and nothing mixes.
    """
    if count < 2:
        return None
    distance_db = 20.0 * np.log10(site.far_m / site.near_m)
    return float(-site.receiver.pr_floor_db - distance_db - 10.0 * np.log10(count - 1))


def wanted_level_dbm(station: Station, site: Site) -> float:
    """Level in dBm of the own aircraft at the far distance."""
    receiver = site.receiver
    loss_db = free_space_loss_db(site.far_m, receiver.reference_mhz) + own_mismatch_db(
        station.antenna, station.rx_antenna, receiver
    )
    return float(station.eirp_dbm + receiver.rx_gain_dbi - loss_db)


def unwanted_level_dbm(stations: Sequence[Station], site: Site, distance_m: float) -> np.ndarray:
    """(n, n) dBm that each pilot's receiver (row) hears from each transmitter (column) at distance_m."""
    receiver = site.receiver
    eirp_dbm = np.array([station.eirp_dbm for station in stations])
    credit_db = np.array(
        [
            [cross_polar_credit_db(heard.antenna, listener.rx_antenna, receiver) for heard in stations]
            for listener in stations
        ]
    )
    arriving_dbm = eirp_dbm + receiver.rx_gain_dbi - free_space_loss_db(distance_m, receiver.reference_mhz)
    return np.broadcast_to(arriving_dbm, credit_db.shape) - credit_db


def outside_level_dbm(mhz: Sequence[int] | np.ndarray, site: Site) -> np.ndarray:
    """(k, q) dBm, protection ratio added, of each outside signal of a site at receivers tuned to mhz (k,)."""
    tuned = np.asarray(mhz, dtype=float)
    columns = [
        one.level_dbm + block_protection_db(one.centre_mhz - tuned, one.width_mhz, site.receiver.pr_floor_db)
        for one in site.outside
    ]
    return np.stack(columns, axis=-1) if columns else np.zeros((len(tuned), 0))


def margin_db(interference_over_wanted: np.ndarray) -> np.ndarray:
    """Equivalent protection margin in dB of sums of 10^(-m/10); infinite where nothing interferes.

    Source: ITU Radio Regulations, Appendix 30 (equivalent protection margin), from memory.
    """
    return -decibels.db_from_power_ratio(interference_over_wanted)


def heat_margins(stations: Sequence[Station], site: Site) -> HeatMargins:
    """Margins, grades, causes and link budgets of the pilots who share the air.

    stations   the heat, n pilots with their channels in whole MHz and powers in mW
    site       distances and receiver

    Returns one SlotMargin a station, in the same order.
    Valid as a worst-moment planning model in free space; a measurement on the site beats it.
    Source: terms by ITU-R P.525, the protection template of Appendix 30 and the cubic mixing model.
    """
    sums = _Sums(stations, site)
    slots = tuple(_slot_margin(row, station, sums, site) for row, station in enumerate(stations))
    stressed = [slot.stressed_margin_db for slot in slots if slot.stressed_margin_db is not None]
    margins = [slot.margin_db for slot in slots if slot.margin_db is not None]
    return HeatMargins(
        slots,
        min(margins, default=None),
        min(stressed, default=None),
        site_ceiling_db(len(stations), site),
    )


class _Sums:
    """The linear terms of a heat over its wanted carriers: carriers (n, n), products (n, m), outside (n, q).

    A term that a receiver does not suffer (its own carrier, a product that its own carrier makes) is 0.
    """

    def __init__(self, stations: Sequence[Station], site: Site) -> None:
        receiver = site.receiver
        count = len(stations)
        self.callsigns = [station.callsign for station in stations]
        self.mhz = np.array([station.mhz for station in stations], dtype=int)
        self.wanted_dbm = np.array([wanted_level_dbm(station, site) for station in stations])
        self.level_dbm = unwanted_level_dbm(stations, site, site.near_m)

        self.carrier_offset_mhz = self.mhz[np.newaxis, :] - self.mhz[:, np.newaxis]
        self.carriers = self._over_wanted(self.level_dbm, self.carrier_offset_mhz, receiver)
        np.fill_diagonal(self.carriers, 0.0)

        self.products = _products_of(count)
        self.product_mhz = product_frequency_mhz(self.products, self.mhz)
        self.product_dbm = product_level_dbm(self.products, self.level_dbm, receiver.iip3_dbm)
        self.product_offset_mhz = self.product_mhz[np.newaxis, :] - self.mhz[:, np.newaxis]
        self.mixed = self._over_wanted(self.product_dbm, self.product_offset_mhz, receiver)
        self.mixed[_takes_part(self.products, count)] = 0.0

        self.outside_names = [one.words for one in site.outside]
        self.outside_mhz = np.array([round(one.centre_mhz) for one in site.outside], dtype=int)
        self.outside_dbm = np.array([one.level_dbm for one in site.outside])
        heard_dbm = outside_level_dbm(self.mhz, site)
        self.outside = decibels.power_ratio(heard_dbm - self.wanted_dbm[:, np.newaxis])

    def _over_wanted(self, level_dbm: np.ndarray, offset_mhz: np.ndarray, receiver: Receiver) -> np.ndarray:
        needed_db = protection_ratio_db(offset_mhz, receiver.pr_floor_db)
        return decibels.power_ratio(level_dbm + needed_db - self.wanted_dbm[:, np.newaxis])

    def margin_db(self, row: int, intercept_shift_db: float = 0.0) -> float | None:
        """Margin of one receiver with its intercept point moved; products move by twice as many dB."""
        products = self.mixed[row].sum() * decibels.power_ratio(-2.0 * intercept_shift_db)
        total = self.carriers[row].sum() + self.outside[row].sum() + products
        return float(margin_db(total)) if total > 0.0 else None


@lru_cache(maxsize=32)
def _products_of(count: int) -> Products:
    return third_order_products(count)


def _takes_part(products: Products, count: int) -> np.ndarray:
    """(n, m) bool: the receiver's own carrier is one of the product's."""
    members = np.stack([products.first, products.second, products.minus])
    return (np.arange(count)[:, np.newaxis, np.newaxis] == members[np.newaxis]).any(axis=1)


def _slot_margin(row: int, station: Station, sums: _Sums, site: Site) -> SlotMargin:
    receiver = site.receiver
    terms = _terms(row, sums)
    margin = sums.margin_db(row)
    link_db = float(link_margin_db(sums.wanted_dbm[row], receiver))
    others = np.append(np.delete(sums.level_dbm[row], row), sums.outside_dbm)
    return SlotMargin(
        callsign=station.callsign,
        margin_db=margin,
        stressed_margin_db=sums.margin_db(row, -STRESS_DB),
        picture_grade=grade.picture_grade(margin),
        grade_low=grade.picture_grade(sums.margin_db(row, -SPAN_DB)),
        grade_high=grade.picture_grade(sums.margin_db(row, SPAN_DB)),
        link_margin_db=link_db,
        is_link_enough=link_db >= receiver.fade_allowance_db,
        range_kept_m=float(site.far_m * 10 ** ((link_db - receiver.fade_allowance_db) / 20)),
        range_threshold_m=float(site.far_m * 10 ** (link_db / 20)),
        is_overloaded=bool((others > compression_level_dbm(receiver.iip3_dbm)).any()),
        limiting_cause=_limiting_cause(row, sums, terms),
        terms=terms,
    )


def _terms(row: int, sums: _Sums) -> tuple[Term, ...]:
    """Every term that the receiver suffers, the largest first."""
    names, products = sums.callsigns, sums.products
    loads = np.concatenate([sums.carriers[row], sums.mixed[row], sums.outside[row]])
    suffered = np.flatnonzero(loads)
    members = [(name,) for name in names] + [
        (names[a], names[b], names[c]) for a, b, c in zip(*products.members, strict=True)
    ]
    members += [(name,) for name in sums.outside_names]
    total = sums.carriers[row].sum() + sums.mixed[row].sum() + sums.outside[row].sum()
    columns = (
        np.concatenate([sums.mhz, sums.product_mhz, sums.outside_mhz]),
        np.concatenate(
            [
                sums.carrier_offset_mhz[row],
                sums.product_offset_mhz[row],
                sums.outside_mhz - sums.mhz[row],
            ]
        ),
        np.concatenate([sums.level_dbm[row], sums.product_dbm[row], sums.outside_dbm]),
        margin_db(loads),
        loads / total if suffered.size else loads,
        np.arange(len(loads)) >= len(loads) - len(sums.outside_names),
    )
    values = zip(*(column[suffered].tolist() for column in columns), strict=True)
    found = [Term(members[number], *own) for number, own in zip(suffered.tolist(), values, strict=True)]
    return tuple(sorted(found, key=lambda term: (-term.share, term.of)))


def _limiting_cause(row: int, sums: _Sums, terms: tuple[Term, ...]) -> LimitingCause:
    if not terms:
        return LimitingCause("none", 0.0)
    shares = {
        kind: sum(term.share for term in terms if term.kind == kind)
        for kind in ("carriers", "products", "outside")
    }
    kind = max(shares, key=lambda one: shares[one])
    by_pilot = [
        Share(name, sum(term.share for term in terms if name in term.of and not term.is_outside))
        for column, name in enumerate(sums.callsigns)
        if column != row
    ]
    by_pilot.sort(key=lambda one: (-one.share, one.callsign))
    return LimitingCause(kind, float(shares[kind]), tuple(by_pilot), terms[0])
