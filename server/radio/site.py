"""The place and the receivers: every parameter of the radio model, with its default, unit and range."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace

from server.radio.emission import PEAK_DEVIATION_MHZ, TOP_VIDEO_MHZ, carson_bandwidth_mhz
from server.radio.errors import SiteError, in_range
from server.radio.outside import OutsideSignal
from server.radio.said import said


@dataclass(frozen=True)
class Parameter:
    """What a parameter is: unit, lowest and highest value that make sense, and its meaning."""

    unit: str
    lowest: float
    highest: float
    meaning: str


def _parameter(default: float, unit: str, lowest: float, highest: float, meaning: str) -> float:
    return field(default=default, metadata={"parameter": Parameter(unit, lowest, highest, meaning)})


class _Checked:
    def __post_init__(self) -> None:
        for name, parameter in parameters_of(type(self)).items():
            value = getattr(self, name)
            if (
                isinstance(value, bool)
                or not isinstance(value, int | float)
                or not parameter.lowest <= value <= parameter.highest
            ):
                raise SiteError(
                    name,
                    value,
                    in_range(parameter.lowest, parameter.highest, parameter.unit),
                )


@dataclass(frozen=True)
class Receiver(_Checked):
    """What is assumed of every pilot's receiver."""

    rx_gain_dbi: float = _parameter(2, "dBi", -10, 30, said("gain of the receiving antenna"))
    iip3_dbm: float = _parameter(-10, "dBm", -40, 30, said("input third-order intercept point"))
    noise_figure_db: float = _parameter(6, "dB", 0, 30, said("noise figure"))
    if_bandwidth_mhz: float = _parameter(27, "MHz", 1, 100, said("noise bandwidth"))
    pr_floor_db: float = _parameter(-28, "dB", -80, 27, said("protection ratio far from the carrier"))
    occupied_mhz: float = _parameter(
        10, "MHz", 1, 60, said("width that holds 99 % of the power; rules test it")
    )
    necessary_mhz: float = _parameter(
        carson_bandwidth_mhz(PEAK_DEVIATION_MHZ, TOP_VIDEO_MHZ),
        "MHz",
        1,
        60,
        said("Carson's width; warnings use it"),
    )
    fade_allowance_db: float = _parameter(6, "dB", 0, 40, said("link margin kept for reflections and bodies"))
    cross_polar_db: float = _parameter(
        6, "dB", 0, 30, said("credit for opposite circular senses between stations")
    )
    mismatch_linear_db: float = _parameter(3, "dB", 0, 30, said("own antennas linear and circular"))
    mismatch_opposite_db: float = _parameter(10, "dB", 0, 40, said("own antennas of opposite circular sense"))
    reference_mhz: float = _parameter(5800, "MHz", 1000, 10000, said("one frequency for all path losses"))


@dataclass(frozen=True)
class Site(_Checked):
    """Distances of a flying site, what its receivers are like, and what else is on the air there."""

    near_m: float = _parameter(
        8, "m", 0.5, 1000, said("closest that flying aircraft come to the pilots' receivers")
    )
    far_m: float = _parameter(80, "m", 0.5, 20000, said("farthest that one's own aircraft flies"))
    pit_m: float = _parameter(30, "m", 0.5, 5000, said("from the pits to the receivers"))
    indifference_db: float = _parameter(0.5, "dB", 0, 6, said("margins closer than this count as equal"))
    ample_db: float = _parameter(5, "dB", 0, 40, said("from this margin on the picture cannot look better"))
    receiver: Receiver = field(default_factory=Receiver)
    outside: tuple[OutsideSignal, ...] = ()

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.far_m < self.near_m:
            raise SiteError(
                "far_m",
                self.far_m,
                said("give a far distance of at least near_m (%(near)s m)", near=float(self.near_m)),
            )


def parameters_of(kind: type) -> Mapping[str, Parameter]:
    """The numeric parameters of Site or Receiver, by name, in the order they are shown."""
    return {f.name: f.metadata["parameter"] for f in fields(kind) if "parameter" in f.metadata}


PRESETS: Mapping[str, Site] = {
    "hall": Site(near_m=2, far_m=15, pit_m=5),
    "club field": Site(),
    "long field": Site(near_m=15, far_m=150, pit_m=50),
}

RECEIVER_PRESETS: Mapping[str, Receiver] = {
    "separate module": Receiver(iip3_dbm=-10),
    "built into goggles": Receiver(iip3_dbm=-15),
}


def with_receiver(site: Site, **changes: float) -> Site:
    """The same site with some receiver parameters changed; raises SiteError."""
    return replace(site, receiver=replace(site.receiver, **changes))
