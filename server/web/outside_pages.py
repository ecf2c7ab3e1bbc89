"""What the card "Also on the air" receives."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session

from server.services import outside_effects, outside_signals
from server.services.outside_lines import EXAMPLES, LEVELS_DBM
from server.services.outside_signals import OtherVideo, SignalView
from server.services.standings import Standing
from server.storage.tables import FieldDay
from server.wording import gettext as _
from server.wording import short_decimal


@dataclass(frozen=True)
class OutsidePanel:
    """Signals on the air, other video that could be, and whose published margins have fallen."""

    signals: Sequence[SignalView]
    other_video: Sequence[OtherVideo]
    weakened: Sequence[str]
    examples: str
    levels: str


def outside_panel(session: Session, day: FieldDay, now: Standing) -> OutsidePanel:
    signals = outside_signals.views(session, day)
    weakened: list[str] = []
    if signals and now.published:
        ample_db = now.draft.basis.problem.site.ample_db
        weakened = outside_effects.weakened(now.published, now.draft.snapshot, ample_db)
    return OutsidePanel(
        signals,
        outside_signals.other_video(session, day),
        weakened,
        EXAMPLES,
        ", ".join(f"{_(word)} {short_decimal(level)} dBm" for word, level in LEVELS_DBM.items()),
    )
