"""Analogue video, or another kind that only takes up its width of the air."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from server.radio.tuning import HIGHEST_MHZ, LOWEST_MHZ
from server.services.faults import FieldFault, FieldsError, shown
from server.wording import gettext as _
from server.wording import plain_decimal

ANALOGUE, OTHER = "analogue", "other"
FIELDS = ("video", "centre_mhz", "width_mhz")
NARROWEST_MHZ, WIDEST_MHZ = 1, 160

_NUMBER = re.compile(r"[0-9]{1,4}([.][0-9]+)?")


@dataclass(frozen=True)
class VideoKind:
    """Centre and width in MHz are there for other than analogue video only."""

    kind: str = ANALOGUE
    centre_mhz: float | None = None
    width_mhz: float | None = None


def read_video(typed: Mapping[str, str]) -> VideoKind:
    """The kind from the text of FIELDS. Raises FieldsError."""
    if (typed.get("video") or ANALOGUE) == ANALOGUE:
        return VideoKind()
    faults: list[FieldFault] = []
    if typed["video"] != OTHER:
        cure = _("choose %(analogue)s or %(other)s", analogue=ANALOGUE, other=OTHER)
        faults.append(FieldFault("video", typed["video"], _("there is no such kind of video"), cure))
    centre_mhz = _number("centre_mhz", typed, LOWEST_MHZ, HIGHEST_MHZ, faults)
    width_mhz = _number("width_mhz", typed, NARROWEST_MHZ, WIDEST_MHZ, faults)
    if faults:
        raise FieldsError(faults)
    return VideoKind(OTHER, centre_mhz, width_mhz)


def with_carrier(typed: Mapping[str, str]) -> Mapping[str, str]:
    """Other video needs no channel list: its centre is its only carrier."""
    centre = plain_decimal(typed.get("centre_mhz") or "").partition(".")[0].strip()
    if typed.get("video") == OTHER and not (typed.get("tunes") or "").strip():
        return {**typed, "tunes": centre}
    return typed


def _number(
    name: str, typed: Mapping[str, str], lowest: float, highest: float, faults: list[FieldFault]
) -> float | None:
    text = (typed.get(name) or "").strip()
    typed_mhz = plain_decimal(text)
    if _NUMBER.fullmatch(typed_mhz) and lowest <= float(typed_mhz) <= highest:
        return float(typed_mhz)
    problem = (
        _("“%(text)s” is not a number of MHz", text=shown(text)) if text else _("a number of MHz is missing")
    )
    faults.append(
        FieldFault(name, text, problem, _("write %(lowest)s to %(highest)s", lowest=lowest, highest=highest))
    )
    return None
