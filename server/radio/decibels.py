"""Decibels: the only place where levels and ratios change between their two scales.

A level in dBm is a power against one milliwatt; a ratio in dB has no unit. Every ratio here is a
ratio of powers (factor 10); the model has no amplitudes.
"""

import numpy as np
from numpy.typing import ArrayLike


def dbm_from_mw(power_mw: ArrayLike) -> np.ndarray:
    """Level in dBm of a power in mW, any shape; zero gives minus infinity.

    Source: definition of the decibel, IEC 60027-3.
    """
    with np.errstate(divide="ignore"):
        return 10.0 * np.log10(np.asarray(power_mw, dtype=float))


def mw_from_dbm(level_dbm: ArrayLike) -> np.ndarray:
    """Power in mW of a level in dBm, any shape."""
    return power_ratio(level_dbm)


def power_ratio(ratio_db: ArrayLike) -> np.ndarray:
    """Ratio of two powers that a number of dB stands for, any shape."""
    return 10.0 ** (np.asarray(ratio_db, dtype=float) / 10.0)


def db_from_power_ratio(ratio: ArrayLike) -> np.ndarray:
    """Decibels of a ratio of two powers, any shape; zero gives minus infinity."""
    return dbm_from_mw(ratio)
