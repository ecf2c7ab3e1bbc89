"""What else is on the air at a site: signals of nobody's aircraft, as the pilots' receivers hear them."""

import math
from dataclasses import dataclass

from server.radio.errors import SiteError, in_range
from server.radio.said import said

WIDEST_MHZ = 160
WEAKEST_DBM, STRONGEST_DBM = -120, 10

WIFI_FROM_MHZ, WIFI_STEP_MHZ, WIFI_WIDTH_MHZ = 5000, 5, 20
WIFI_WIDTHS_MHZ = (20, 40, 80, 160)

_WIFI_RUNS = (range(36, 65, 4), range(100, 145, 4), range(149, 178, 4))
"""Channels of 20 MHz that stand side by side; wider ones are made of neighbours of one run, from its start."""


@dataclass(frozen=True)
class OutsideSignal:
    """Something on the air besides the aircraft of a heat, the same at every pilot's receiver.

    centre_mhz   middle of the block
    width_mhz    over which its power is spread evenly; 0: a carrier
    level_dbm    all of its power at a receiver's input
    name         as a sentence names it; empty: "the outside signal at 5745 MHz"

    Raises SiteError for a number that makes no sense.
    """

    centre_mhz: float
    width_mhz: float
    level_dbm: float
    name: str = ""

    def __post_init__(self) -> None:
        _check("centre_mhz", self.centre_mhz, 1000, 10000, "MHz")
        _check("width_mhz", self.width_mhz, 0, WIDEST_MHZ, "MHz")
        _check("level_dbm", self.level_dbm, WEAKEST_DBM, STRONGEST_DBM, "dBm")

    @property
    def words(self) -> str:
        """How a sentence names it."""
        return self.name or said("the outside signal at %(mhz)s MHz", mhz=float(self.centre_mhz))


def wifi_block(channel: int, width_mhz: int = WIFI_WIDTH_MHZ) -> tuple[int, int]:
    """Centre and width in MHz of the Wi-Fi channel of this width that holds a channel of 20 MHz.

    Raises SiteError for a number that is no 5 GHz channel, or a width that it has not got.
    Source: IEEE 802.11, operating classes of the 5 GHz band (centre = 5000 + 5 n MHz), from memory.
    """
    run = next((run for run in _WIFI_RUNS if channel in run), None)
    if run is None:
        raise SiteError(
            "wifi", channel, said("give the number of a 5 GHz channel: 36 to 64, 100 to 144, 149 to 177")
        )
    if width_mhz not in WIFI_WIDTHS_MHZ:
        raise SiteError("width_mhz", width_mhz, said("give 20, 40, 80 or 160 MHz"))
    joined = width_mhz // WIFI_WIDTH_MHZ
    first = run[run.index(channel) // joined * joined]
    last = first + 4 * (joined - 1)
    if last not in run:
        raise SiteError(
            "width_mhz",
            width_mhz,
            said("channel %(channel)s is in no Wi-Fi channel as wide: give less", channel=channel),
        )
    return WIFI_FROM_MHZ + WIFI_STEP_MHZ * (first + last) // 2, width_mhz


def _check(name: str, value: float, lowest: float, highest: float, unit: str) -> None:
    is_number = isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < math.inf
    if not is_number or not lowest <= value <= highest:
        raise SiteError(name, value, in_range(lowest, highest, unit))
