"""The spectrum of a heat as a strip on paper: what is on the air where, in MHz. Paper does the drawing."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from server.services.spectrum_chart import ROOM_MHZ

LABEL_SHARE = 0.045
"""Width of a label as a share of the strip: nearer ones go to different rows."""


def strip(plan: Mapping[str, Any], heat: Mapping[str, Any]) -> dict[str, Any] | None:
    """What the strip of a heat shows; None where the plan was stored without its spectrum.

    low, high   the piece of spectrum shown, MHz
    ranges      of the rules chosen, MHz
    occupied    width of a carrier, MHz
    carriers    mhz, label, row (0 lowest), and whether it is down and still on
    outside     what else is on the air in the heats ahead, as (low, high) MHz
    """
    frame = plan.get("spectrum")
    if not frame:
        return None
    low, high = frame["low_mhz"] - ROOM_MHZ, frame["high_mhz"] + ROOM_MHZ
    is_ahead = heat["heat"] > plan.get("flown_heats", 0)
    carriers = [
        {"mhz": slot["mhz"], "label": slot["channel"] or "", "is_down": False} for slot in heat["slots"]
    ]
    if is_ahead:
        carriers += [{"mhz": one["mhz"], "label": "DOWN", "is_down": True} for one in plan.get("down", ())]
    carriers.sort(key=lambda one: (one["mhz"], one["label"]))
    rows = label_rows([one["mhz"] for one in carriers], LABEL_SHARE * (high - low))
    return {
        "low": low,
        "high": high,
        "ranges": frame["ranges_mhz"],
        "occupied": frame["occupied_mhz"],
        "carriers": [{**one, "row": row} for one, row in zip(carriers, rows, strict=True)],
        "outside": list(_shown(plan.get("outside", ()), low, high)) if is_ahead else [],
    }


def label_rows(places_mhz: Sequence[float], width_mhz: float) -> list[int]:
    """The lowest row in which each label, from the left, meets no other."""
    ends: list[float] = []
    rows = []
    for mhz in places_mhz:
        row = next((row for row, end in enumerate(ends) if end <= mhz), len(ends))
        ends[row : row + 1] = [mhz + width_mhz]
        rows.append(row)
    return rows


def _shown(outside: Iterable[Mapping[str, Any]], low: float, high: float) -> Iterable[tuple[float, float]]:
    for one in outside:
        left = max(low, one["centre_mhz"] - one["width_mhz"] / 2)
        right = min(high, one["centre_mhz"] + one["width_mhz"] / 2)
        if left <= right:
            yield left, right
