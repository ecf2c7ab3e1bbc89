"""What the air and the gear of now do to the margins that pilots were told: published slots against today's."""

import math
from collections.abc import Mapping
from typing import Any

from server.services.margin_words import margin_words, signed_db
from server.wording import gettext as _

FALLS_DB = 0.5
"""Less is not felt: margins this close count as equal."""


def weakened(published: Mapping[str, Any], now: Mapping[str, Any], ample_db: float) -> list[str]:
    """Slots ahead that stand as published and have lost margin since, the worst picture first, as sentences.

    ample_db  above it a margin is nobody's loss: the picture cannot look better
    """
    told = {
        (heat["heat"], slot["pilot_id"], slot["mhz"], slot["power_mw"]): slot["margin_db"]
        for heat in published["heats"]
        for slot in heat["slots"]
    }
    found = []
    for heat in now["heats"][now.get("flown_heats", 0) :]:
        for slot in heat["slots"]:
            key = (heat["heat"], slot["pilot_id"], slot["mhz"], slot["power_mw"])
            becomes = slot["margin_db"]
            if key not in told or becomes is None:
                continue
            was = told[key]
            if min(math.inf if was is None else was, ample_db) - becomes >= FALLS_DB:
                before = _("alone") if was is None else signed_db(was)
                words = _(
                    "%(callsign)s in heat %(heat)s: %(margin)s, published with %(before)s",
                    callsign=slot["callsign"],
                    heat=heat["heat"],
                    margin=margin_words(becomes),
                    before=before,
                )
                found.append((becomes, words))
    return [one[1] for one in sorted(found)]
