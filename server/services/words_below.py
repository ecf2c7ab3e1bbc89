"""Words for people that `radio` and `storage` give: those layers know no catalogue.

The radio model says a text with its template (`radio/said.py`), which is put into the language spoken here. The
states of rows and the names of rule sets are marked here, so that translators find them, and go through `gettext`
where they are shown; a test holds these lists against what can be said.
"""

from server.radio.said import Said
from server.wording import gettext as _
from server.wording import marked, typed_decimal

PILOT_STATES = (marked("checked in"), marked("withdrawn"), marked("no-show"))

CLEARANCES = (
    marked("bench check"),
    marked("picture check"),
    marked("retune"),
    marked("set-up"),
    marked("nobody knows what for"),
)
"""What a clearance is asked for."""

PLACES = (marked("pits"), marked("pilot line"))

RULE_SETS = (
    marked("Europe (CEPT), short-range devices"),
    marked("United Kingdom, short-range devices"),
    marked("United Kingdom, amateur"),
    marked("United States, amateur (Region 2)"),
    marked("United States, unlicensed"),
    marked("Amateur, ITU Regions 1 and 3"),
    marked("Australia, low interference potential devices"),
    marked("Canada, amateur"),
    marked("Canada, unlicensed"),
    marked("Japan, amateur video from aircraft"),
)
"""Names of the rule sets that come with Bandstand; their conditions and sources are quoted as they were read."""


SITES = (
    marked("hall"),
    marked("club field"),
    marked("long field"),
    marked("separate module"),
    marked("built into goggles"),
)
"""Usual sites and receivers, which are picked by these names."""


def translated(words: str) -> str:
    """What the radio model says, in the language spoken; any other text as its catalogue has it."""
    if not isinstance(words, Said):
        return _(words)
    values = {
        name: typed_decimal(value) if isinstance(value, float) else value
        for name, value in words.values.items()
    }
    return _(words.template, **values)
