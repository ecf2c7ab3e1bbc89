"""Bandstand, a field-day frequency coordinator for pilots who fly on analogue FM video."""

__version__ = "0.1.0"
