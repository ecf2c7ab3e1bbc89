"""Every number and every sentence of an explanation against the radio model."""

import math

import pytest

from server.radio.interference import Station, heat_margins
from server.radio.mixing import product_frequency_mhz, third_order_products
from server.radio.site import Site
from server.services.cause_words import MINUS, TIMES
from server.services.explanations import LEAST_SHARE, MOST_TERMS, explanation, landing_products

HOT = (("Wren", 5699), ("Otter", 5732), ("Rook", 5769), ("Quill", 5843))


def margins_of(placed=HOT, power_mw=3000, **values):
    return heat_margins([Station(name, mhz, power_mw, **values) for name, mhz in placed], Site())


def test_shares_of_kinds_and_of_terms_make_the_whole():
    for slot in margins_of().slots:
        told = explanation(slot)
        assert told["carriers"] + told["products"] == pytest.approx(1, abs=0.001)
        shares = sum(term["share"] for term in told["terms"]) + told["rest"]["share"]
        assert shares == pytest.approx(1, abs=0.005)


def test_the_largest_terms_come_first_and_the_small_ones_are_counted():
    slot = margins_of().slots[0]
    told = explanation(slot)
    shares = [term["share"] for term in told["terms"]]
    assert shares == sorted(shares, reverse=True)
    assert 0 < len(shares) <= MOST_TERMS
    assert min(shares) >= LEAST_SHARE
    assert len(shares) + told["rest"]["count"] == len(slot.terms)


def test_each_term_says_in_words_what_it_says_in_numbers():
    told = explanation(margins_of().slots[0])
    by_makers = {tuple(term["of"]): term for term in told["terms"]}
    product = by_makers["Otter", "Otter", "Rook"]
    assert (product["at_mhz"], product["offset_mhz"]) == (2 * 5732 - 5769, -4)
    percent = round(product["share"] * 100)
    assert product["words"] == f"2 {TIMES} Otter {MINUS} Rook lands 4 MHz below, takes {percent} %"
    carrier = by_makers["Otter",]
    percent = round(carrier["share"] * 100)
    assert carrier["words"] == f"Otter's carrier, 33 MHz above, takes {percent} %"


def test_a_share_is_what_the_term_alone_would_leave():
    slot = margins_of().slots[0]
    for term in explanation(slot)["terms"]:
        share = 10 ** ((slot.margin_db - term["margin_db"]) / 10)
        assert term["share"] == pytest.approx(share, abs=0.002)


def test_a_pilot_alone_has_no_terms():
    told = explanation(margins_of([("Wren", 5658)]).slots[0])
    rest = {"count": 0, "share": 0}
    assert told == {"carriers": 0, "products": 0, "outside": 0, "terms": [], "rest": rest}


def test_products_land_where_the_mixing_says():
    mhz = [5658, 5695, 5740]
    landed = [one["mhz"] for one in landing_products(margins_of([(f"P{at}", at) for at in mhz]))]
    products = third_order_products(3)
    expected = set()
    for *makers, at in zip(*products.members, product_frequency_mhz(products, mhz), strict=True):
        nearest = min(range(3), key=lambda pilot: abs(mhz[pilot] - at))
        if nearest not in makers:
            expected.add(int(at))
    assert landed == sorted(expected)
    assert landed


def test_a_product_has_the_level_of_its_makers():
    (only,) = landing_products(margins_of([("A", 5658), ("B", 5695), ("C", 5900)], power_mw=25))
    # 25 mW at 8 m: 13.98 dBm + 2 dBi - 65.77 dB; three of it and twice 10 dBm.
    assert (only["mhz"], only["of"]) == (2 * 5695 - 5900, ["B", "B", "C"])
    assert only["level_dbm"] == pytest.approx(3 * (13.979 + 2 - 65.773) + 20, abs=0.1)


def test_products_on_one_frequency_are_summed_and_named_by_the_loudest():
    comb = [(f"P{place}", 5658 + 37 * place) for place in range(5)]
    landed = {one["mhz"]: one for one in landing_products(margins_of(comb, power_mw=25))}
    # P2 suffers 2P1-P0, 2P3-P4, P0+P3-P1 and P1+P4-P3 there; in P1+P3-P2 the own carrier takes part.
    two_dbm = 3 * (13.979 + 2 - 65.773) + 20
    total = 10 * math.log10(2 * 10 ** (two_dbm / 10) + 2 * 10 ** ((two_dbm + 6.02) / 10))
    assert landed[5658 + 74]["level_dbm"] == pytest.approx(total, abs=0.1)
    assert len(set(landed[5658 + 74]["of"])) == 3
