"""Small makers of rosters as the command line reads them."""

from server.services.roster import RosterPilot, read_pilot


def make_roster_pilot(callsign: str = "Wren", tunes: str = "A B E F R", **typed: str) -> RosterPilot:
    """A pilot from the text of columns; Wren and Otter are in the roster, so lists may name them."""
    known = {"wren": "Wren", "otter": "Otter"}
    return read_pilot({"callsign": callsign, "tunes": tunes} | typed, known)
