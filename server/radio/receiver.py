"""What a receiver makes of a signal beside its own: protection ratio, noise, threshold, compression."""

import math

import numpy as np
from numpy.typing import ArrayLike

from server.radio.decibels import db_from_power_ratio, power_ratio
from server.radio.site import Receiver

BOLTZMANN_J_PER_K = 1.380649e-23
REFERENCE_TEMPERATURE_K = 290.0
FM_THRESHOLD_DB = 10.0
"""Carrier over noise below which an FM picture breaks into snow (common figure of the textbooks)."""

CO_CHANNEL_RATIO_DB = 28.0

BLOCK_STEP_MHZ = 0.1
"""A block is cut into parts no wider than this; the mean over it is then right to some thousandths of a dB."""

OFF_TUNE_BANDWIDTH_MHZ = 27.0
_OFF_TUNE_MHZ = (0.0, 5.0, 8.0, 10.0, 12.0, 13.5, 15.0, 18.0, 20.0, 25.0, 27.0)
_OFF_TUNE_DB = (0.0, 0.3, 0.6, 1.5, 2.7, 4.0, 7.0, 14.0, 20.0, 34.5, 39.0)


def protection_ratio_db(offset_mhz: ArrayLike, floor_db: float = -28.0) -> np.ndarray:
    """Carrier over interference in dB that a receiver needs, by how far the interferer lies off its tuning.

    offset_mhz   any shape, MHz, either sign, from the receiver's tuned frequency
    floor_db     dB, the ratio far from the carrier (34 dB of guaranteed stop band less 6)

    Valid for FM television; the last branch is used past its last plan point (29.16 MHz) until it
    meets the floor at 38.19 MHz.
    Source: ITU Radio Regulations, Appendix 30, Annex 5, Region 2 template, from memory; the floor is
    an engineering choice.
    """
    distance_mhz = np.abs(np.asarray(offset_mhz, dtype=float))
    template_db = np.select(
        [distance_mhz <= 8.36, distance_mhz <= 12.87, distance_mhz <= 21.25],
        [CO_CHANNEL_RATIO_DB, -2.762 * distance_mhz + 51.09, -1.154 * distance_mhz + 30.4],
        default=-2.0 * distance_mhz + 48.38,
    )
    return np.maximum(template_db, floor_db)


def block_protection_db(offset_mhz: ArrayLike, width_mhz: float, floor_db: float = -28.0) -> np.ndarray:
    """Protection ratio in dB against a signal whose power is spread evenly over a block.

    offset_mhz   any shape, MHz, of the middle of the block from the receiver's tuned frequency
    width_mhz    MHz; 0 is a carrier and gives `protection_ratio_db`
    floor_db     dB, the ratio far from the carrier

    Each part of the block counts with its own offset and its share of the power: the mean of the ratios (as
    powers) over the block. The worst point instead would make of every block that only touches a channel one
    right on it. A block of 27 MHz right on a channel does 1.4 dB less harm than a carrier of the same power.
    Valid for noise-like signals that are on all the time, which is the worst moment of any other.
    Source: linear sum of powers; a choice.
    """
    parts = max(1, math.ceil(width_mhz / BLOCK_STEP_MHZ))
    places_mhz = ((np.arange(parts) + 0.5) / parts - 0.5) * width_mhz
    offsets_mhz = np.asarray(offset_mhz, dtype=float)[..., np.newaxis] + places_mhz
    return db_from_power_ratio(power_ratio(protection_ratio_db(offsets_mhz, floor_db)).mean(axis=-1))


def noise_level_dbm(bandwidth_mhz: float, noise_figure_db: float) -> float:
    """Noise in dBm at the input of a receiver, k T0 B and its own noise figure.

    Source: thermal noise, k = 1.380649e-23 J/K (SI, exact), T0 = 290 K.
    """
    thermal_w = BOLTZMANN_J_PER_K * REFERENCE_TEMPERATURE_K * bandwidth_mhz * 1e6
    return 10.0 * math.log10(thermal_w) + 30.0 + noise_figure_db


def link_margin_db(wanted_dbm: ArrayLike, receiver: Receiver) -> np.ndarray:
    """How far in dB the wanted carrier stands above the FM threshold, any shape."""
    noise_dbm = noise_level_dbm(receiver.if_bandwidth_mhz, receiver.noise_figure_db)
    return np.asarray(wanted_dbm, dtype=float) - noise_dbm - FM_THRESHOLD_DB


def compression_level_dbm(iip3_dbm: float) -> float:
    """Input level in dBm at which a cubic device has lost 1 dB of gain, 9.64 dB below its intercept point.

    Source: cubic amplifier model, -10 log10(1 - 10^(-1/20)) = 9.64 dB.
    """
    return iip3_dbm + 10.0 * math.log10(1.0 - 10.0 ** (-1.0 / 20.0))


def off_tune_loss_db(offset_mhz: ArrayLike, bandwidth_mhz: float = OFF_TUNE_BANDWIDTH_MHZ) -> np.ndarray:
    """How much weaker in dB a receiver reads a carrier that lies off its tuning, any shape, either sign.

    bandwidth_mhz  of the receiver's filter; other widths scale the offsets

    Valid for FM video of 8 MHz deviation peak to peak. Past 10 MHz the picture is distorted as well.
    Source: simulation of FM video through a published 27 MHz filter response, rounded up.
    """
    scaled_mhz = np.abs(np.asarray(offset_mhz, dtype=float)) * OFF_TUNE_BANDWIDTH_MHZ / bandwidth_mhz
    return np.interp(scaled_mhz, _OFF_TUNE_MHZ, _OFF_TUNE_DB)
