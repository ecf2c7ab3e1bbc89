"""How often each cause of a bad picture happens in one heat, and how strong it is then.

Common practice, no source, for every number here.
"""

WRONG_CHANNEL, WRONG_CHANNEL_CONFIRMED = 0.08, 0.005
"""A pilot is on a neighbour channel: with the channel never seen, and seen since its last change."""

IN_THE_PITS, IN_THE_PITS_NEXT, IN_THE_PITS_ON = 0.004, 0.012, 0.5
"""Somebody who does not fly switches on; who is next, or has just landed; who is known to be on."""

ON_ITS_LAST_CHANNEL = 0.7
"""Of those; the rest is spread over all that the gear tunes."""

LOUD, HOT, TOO_LOUD_DB = 0.05, 0.01, 6.0
"""A transmitter is left on its highest step; it is so much hotter than its label, where it has none above."""

POOR_RECEIVER, SOONER_DB = 0.03, (10.0, 16.0)
"""The own receiver is overloaded so much sooner, one as likely as the other."""

WEAK_LINK, WEAKER_DB = 0.03, (10.0, 17.0)
"""The own signal is so much weaker (an antenna, a body in between, power left in the pit step)."""

STILL_ON, NOTED_SIGNAL, SIGNAL_NOT_NOTED = 0.15, 0.1, 0.005
USUAL_SIGNAL = (10.0, -75.0)
"""Width in MHz and level in dBm of a signal that nobody noted, right on the channel."""
