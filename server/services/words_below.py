"""Words for people that `radio` and `storage` give: those layers know no catalogue, so translators find them here.

A service or a page translates such a word with `gettext` where it is shown; nothing is read from this list while
the server runs. A test holds it against what the layers below can say.
"""

from server.wording import marked

GRADES = (marked("clean"), marked("specks"), marked("lines"), marked("do not fly"))

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
