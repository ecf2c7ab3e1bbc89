"""Third-order intermodulation: which products a set of carriers makes, where, and how strong.

A product a + b - c has two signals where a and b are the same carrier (2a - c), three where they
differ. n carriers make n(n-1) of the first kind and n(n-1)(n-2)/2 of the second.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

THREE_SIGNAL_DB = 20.0 * np.log10(2.0)
"""A three-signal product stands 6.02 dB above a two-signal one of equal carriers.

Source: expansion of a cubic nonlinearity; Hausman, "Carrier Triple Beats", Microwave Journal.
"""


@dataclass(frozen=True)
class Products:
    """Index arrays (m,) into the carriers: product number q is first[q] + second[q] - minus[q]."""

    first: np.ndarray
    second: np.ndarray
    minus: np.ndarray

    @property
    def is_three_signal(self) -> np.ndarray:
        """(m,) bool."""
        return self.first != self.second

    @property
    def members(self) -> tuple[list[int], list[int], list[int]]:
        """The same indices as plain numbers."""
        return self.first.tolist(), self.second.tolist(), self.minus.tolist()


def third_order_products(count: int) -> Products:
    """All third-order products of ``count`` carriers, two-signal ones first, each once."""
    triples = [(a, a, c) for a in range(count) for c in range(count) if c != a]
    triples += [
        (a, b, c) for a in range(count) for b in range(a + 1, count) for c in range(count) if c not in (a, b)
    ]
    table = np.array(triples, dtype=np.intp).reshape(-1, 3)
    return Products(table[:, 0], table[:, 1], table[:, 2])


def product_frequency_mhz(products: Products, mhz: ArrayLike) -> np.ndarray:
    """(m,) MHz of each product; mhz is (n,) carriers."""
    carriers = np.asarray(mhz)
    return carriers[products.first] + carriers[products.second] - carriers[products.minus]


def product_level_dbm(products: Products, level_dbm: ArrayLike, iip3_dbm: float) -> np.ndarray:
    """Input-referred level of each product in dBm.

    level_dbm   (..., n) dBm, each carrier at the receiver's antenna port
    iip3_dbm    dBm, input third-order intercept point of the receiver

    Returns (..., m): Pa + Pb + Pc - 2 IIP3, and 6.02 dB more for three signals.
    Valid well below compression; no selectivity ahead of the first stage.
    Source: cubic nonlinearity; ITU-R SM.1134 in its intercept-point form.
    """
    level = np.asarray(level_dbm, dtype=float)
    summed = level[..., products.first] + level[..., products.second] + level[..., products.minus]
    return summed - 2.0 * iip3_dbm + np.where(products.is_three_signal, THREE_SIGNAL_DB, 0.0)
