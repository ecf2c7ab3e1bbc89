"""From a transmitter's antenna to a receiver's: free space, antennas, polarisation."""

import math

import numpy as np
from numpy.typing import ArrayLike

from server.radio.site import Receiver

SPEED_OF_LIGHT_M_PER_S = 299_792_458.0
OPPOSITE_SENSE = {"rhcp": "lhcp", "lhcp": "rhcp"}


def free_space_loss_db(distance_m: ArrayLike, frequency_mhz: float) -> np.ndarray:
    """Free-space basic transmission loss in dB between isotropic antennas, 20 log10(4 pi d f / c).

    distance_m      any shape, m, positive
    frequency_mhz   MHz

    Valid in the far field and with no reflection; near ground the level swings by +6 to -20 dB.
    Source: Recommendation ITU-R P.525-5 (2024).
    """
    wavelengths_per_m = frequency_mhz * 1e6 / SPEED_OF_LIGHT_M_PER_S
    return 20.0 * np.log10(4.0 * math.pi * np.asarray(distance_m, dtype=float) * wavelengths_per_m)


def cross_polar_credit_db(antenna: str, rx_antenna: str, receiver: Receiver) -> float:
    """Extra loss in dB between two stations whose circular senses are opposite; 0 for any other pair.

    A linear antenna meets both senses alike, so it is credited with nothing between stations.
    """
    return receiver.cross_polar_db if OPPOSITE_SENSE.get(antenna) == rx_antenna else 0.0


def own_mismatch_db(antenna: str, rx_antenna: str, receiver: Receiver) -> float:
    """Loss in dB of the wanted signal when a pilot's own two antennas do not match.

    Source: circular to linear 3.01 dB is geometry; the figure for opposite senses is a choice.
    """
    if antenna == rx_antenna:
        return 0.0
    if OPPOSITE_SENSE.get(antenna) == rx_antenna:
        return receiver.mismatch_opposite_db
    return receiver.mismatch_linear_db
