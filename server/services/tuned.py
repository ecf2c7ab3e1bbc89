"""A channel as its pilot sees it: the own name, the MHz, and what looks right on the bench and is wrong."""

from dataclasses import dataclass

from server.radio.channels import labels_at, lookalikes
from server.radio.errors import TuningError
from server.radio.tuning import parse_tuning
from server.services.gear import label_at, tunes_of
from server.storage.tables import Aircraft, Pilot


@dataclass(frozen=True)
class Lookalike:
    """A channel that shows a picture on the bench and is wrong; positive offsets lie above the right one."""

    channel: str
    mhz: int
    offset_mhz: int


@dataclass(frozen=True)
class Tuned:
    """A carrier by the pilot's own name for it, where there is one, and in MHz."""

    channel: str | None
    mhz: int
    lookalikes: tuple[Lookalike, ...] = ()

    @property
    def other_labels(self) -> tuple[str, ...]:
        """Further names of the same carrier, which are right too."""
        return tuple(label for label in labels_at(self.mhz) if label != self.channel)


def provisional_of(pilot: Pilot, aircraft: list[Aircraft]) -> Tuned | None:
    """The channel given at check-in, by the pilot's own name for it; None without one."""
    mhz = pilot.provisional_mhz
    if mhz is None:
        return None
    flying = next((one for one in aircraft if one.id == pilot.flying_aircraft_id), None)
    return Tuned(label_at(mhz, _labels(flying.tunes) if flying else {}), mhz, similar(mhz))


def similar(mhz: int) -> tuple[Lookalike, ...]:
    """The channels near this carrier that look right on the bench."""
    return tuple(Lookalike(one.label, one.mhz, one.mhz - mhz) for one in lookalikes(mhz))


def _labels(tunes: str) -> dict[int, str]:
    """The pilot's own names of channels; none where the set-up is unknown."""
    try:
        tuning = parse_tuning(tunes_of(tunes))
    except TuningError:
        return {}
    return {mhz: label for mhz, label in tuning.label_for.items() if label}
