"""What each channel of a pilot would bring: the list behind a change of channel by hand."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.allocator.problem import Pilot
from server.allocator.scoring import day_gear, finite_or_none, margins_db
from server.radio.grade import grade_word, picture_grade
from server.services.drafts import DraftContent, DraftHeat
from server.services.gear import label_at
from server.services.plan_basis import PlanBasis

FAR_MHZ = 10_000


@dataclass(frozen=True)
class ChannelOffer:
    """One channel, and the worst margin among the heats that the pilot would fly on it.

    spacing_mhz  to the nearest other pilot of those heats; FAR_MHZ where there is none
    """

    mhz: int
    channel: str | None
    worst_margin_db: float | None
    spacing_mhz: int

    @property
    def grade_word(self) -> str:
        return grade_word(picture_grade(self.worst_margin_db))


def offers(basis: PlanBasis, content: DraftContent, pilot_id: int) -> list[ChannelOffer]:
    """Every channel that the pilot may have today, from the lowest, as if flown on in all the pilot's heats."""
    own = content.slots_of(pilot_id)
    heats = [content.heats[number - 1] for number, _ in own]
    pilot = basis.pilots[pilot_id]
    power_mw = own[0][1].power_mw if own else min(pilot.power_steps_mw)
    return _offers(basis, heats, pilot, pilot_id, power_mw)


def best_offer(basis: PlanBasis, heat: DraftHeat, pilot_id: int, power_mw: float) -> ChannelOffer | None:
    """The channel that leaves one heat best: spacing kept first, then margin, then the widest, the lowest."""
    found = _offers(basis, [heat], basis.pilots[pilot_id], pilot_id, power_mw)

    def worth(offer: ChannelOffer) -> tuple[bool, float, int, int]:
        margin_db = float("inf") if offer.worst_margin_db is None else offer.worst_margin_db
        keeps_spacing = offer.spacing_mhz >= basis.problem.minimum_spacing_mhz
        return keeps_spacing, round(margin_db, 1), offer.spacing_mhz, -offer.mhz

    return max(found, key=worth, default=None)


def _offers(
    basis: PlanBasis, heats: Sequence[DraftHeat], pilot: Pilot, pilot_id: int, power_mw: float
) -> list[ChannelOffer]:
    choices = basis.problem.choices_mhz(pilot)
    worst = dict.fromkeys(choices, float("inf"))
    spacing = dict.fromkeys(choices, FAR_MHZ)
    for heat in heats:
        others = [slot for slot in heat.slots if slot.pilot_id != pilot_id]
        flying = (pilot, *(basis.pilots[slot.pilot_id] for slot in others))
        crowd = (
            *flying,
            *(
                Pilot(f"{number}", (), gain_dbi=one.gain_dbi, antenna=one.antenna)
                for number, one in enumerate(basis.down)
            ),
        )
        powers = [power_mw, *(slot.power_mw for slot in others), *(one.power_mw for one in basis.down)]
        gear = day_gear(basis.problem.with_pilots(crowd), powers)
        held = [*(slot.mhz for slot in others), *(one.mhz for one in basis.down)]
        for mhz in choices:
            margins, _ = margins_db(gear, range(len(crowd)), [mhz, *held])
            margin_db = float(margins[: len(flying)].min())
            worst[mhz] = min(worst[mhz], margin_db)
            spacing[mhz] = min([spacing[mhz], *(abs(mhz - other) for other in held)])
    return [
        ChannelOffer(mhz, label_at(mhz, pilot.labels), finite_or_none(worst[mhz]), spacing[mhz])
        for mhz in choices
    ]
