"""The answer to a form that was overtaken: what stands now and what was sent, to choose from or to edit."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

from fastapi import Request
from fastapi.responses import Response

from server.services.stale_forms import Difference, StaleFormError
from server.storage.tables import FieldDay
from server.web.day_to_land import day_to_land
from server.web.errors import ON_TOP
from server.web.templating import Page, render

STALE = 409


@dataclass(frozen=True)
class BothVersionsPage(Page):
    """`repeated` are the fields of the form that are sent again as they came, with what is saved now as what was
    shown; `keep` is where one goes who lets stand what stands; `current` the day that EVERYBODY LAND is for."""

    template: ClassVar[str] = "both_versions/page.html"
    told: str
    differences: Sequence[Difference]
    action: str
    repeated: Mapping[str, str]
    keep: str
    current: FieldDay | None = None


@dataclass(frozen=True)
class BothVersionsStrip(BothVersionsPage):
    """The same on top of the page that htmx is on."""

    template: ClassVar[str] = "both_versions/_strip.html"


def both_versions(request: Request, error: StaleFormError, sent: Mapping[str, str], keep: str) -> Response:
    """A page for a small form or a press: it can be sent again from there. Forms with many fields come back
    themselves, with the same table on top."""
    typed_here = {one.name for one in error.differences if one.is_typed}
    repeated = {name: text for name, text in sent.items() if name not in typed_here}
    repeated |= {f"was_{name}": text for name, text in error.saved.items()}
    query = f"?{request.url.query}" if request.url.query else ""
    said = (str(error), error.differences, request.url.path + query, repeated, keep)
    if not request.headers.get("HX-Request"):
        return render(request, BothVersionsPage(*said, day_to_land(request)), STALE)
    response = render(request, BothVersionsStrip(*said), STALE)
    response.headers.update(ON_TOP)
    return response
