"""Pilots with a place, and what the radio model says of them."""

from server.allocator.open_flying import Up
from server.allocator.problem import Pilot
from server.radio.interference import Station, heat_margins
from server.radio.site import Site


def up(name, mhz, power_mw=25.0, is_down=False, **gear):
    return Up(Pilot(name, (mhz,), **gear), mhz, power_mw, is_down)


def stations(pilots):
    return [
        Station(
            one.pilot.callsign,
            one.mhz,
            one.power_mw,
            one.pilot.antenna,
            one.pilot.rx_antenna,
            one.pilot.gain_dbi,
        )
        for one in pilots
    ]


def worst_db(pilots, site=None):
    found = [slot.margin_db for slot in heat_margins(stations(pilots), site or Site()).slots]
    return min((margin for margin in found if margin is not None), default=None)
