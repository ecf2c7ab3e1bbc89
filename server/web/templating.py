"""Templates, their filters, and how a page is answered.

The one rule for forms: a form that cannot be taken is answered with status 422 and the same fragment or
page, the values kept and one sentence under each field at fault. htmx 4 swaps 4xx answers like any other, so
no attribute is needed; without script the browser shows the page. A form that was taken is answered with its
new fragment to htmx, and with a 303 redirect to a plain post, so that a reload posts nothing twice.
`is_fragment` tells the two apart. Any other error reaches htmx as a strip that is put on top of the page
(`errors.py`), so nothing typed is lost.
"""

import re
from collections.abc import MutableMapping
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from fastapi import Request
from fastapi.responses import HTMLResponse
from fastapi.templating import Jinja2Templates
from jinja2 import Environment, FileSystemLoader, Undefined
from jinja2.ext import Extension, InternationalizationExtension
from jinja2.utils import missing
from markupsafe import Markup

from server import paths, wording
from server.services.qr_codes import qr_svg
from server.services.spectrum_shapes import Chart
from server.web.dependencies import signed_in_of
from server.web.looks import LOOKS, Look, look_of
from server.web.static_files import versioned

_UNIT_BEHIND_FIGURE = re.compile(r"(?<=\d) (?=%|dB|MHz|mW)|(?<=\b[A-Z]\d) (?=\d{4}\b)")
_STATIC_ADDRESS = re.compile(r"(?<=[\"'])/static/([\w./-]+)(?=[\"'])")


@dataclass(frozen=True)
class Page:
    """What one template receives: subclasses declare its fields (`pages.py`)."""

    template: ClassVar[str]


def render(request: Request, page: Page, status_code: int = 200) -> HTMLResponse:
    context = {field.name: getattr(page, field.name) for field in fields(page)}
    return request.app.state.templates.TemplateResponse(
        request, page.template, context, status_code=status_code
    )


def spectrum_svg(request: Request, chart: Chart) -> str:
    """The drawing of a heat as a file of its own."""
    template = request.app.state.templates.env.get_template("spectrum/drawing.svg")
    return str(template.render(chart=chart)).strip()


def is_fragment(request: Request) -> bool:
    """Whether htmx asks, to swap a part of the page."""
    return request.headers.get("HX-Request-Type") == "partial"


def make_templates() -> Jinja2Templates:
    environment = _Environment(
        loader=FileSystemLoader(paths.TEMPLATES),
        autoescape=True,
        auto_reload=False,  # else each part of each state asks the disk whether it is still the same
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=_UndeclaredName,
        extensions=[_VersionedStatic, InternationalizationExtension],
    )
    environment.policies["ext.i18n.trimmed"] = True
    environment.newstyle_gettext = True  # type: ignore[attr-defined]
    environment.globals.update(
        _=wording.gettext, gettext=_sentence, ngettext=_counted_sentence, language_tag=wording.language_tag
    )
    environment.filters.update(
        mhz=mhz,
        mw=mw,
        db=db,
        decimal=wording.decimal,
        short=short,
        unbroken=unbroken,
        clock=clock,
        day_and_clock=day_and_clock,
        listed=wording.listed,
        long_date=wording.long_date,
        day_and_month=wording.day_and_month,
        qr=qr,
    )
    # Templates may also be drawn without a request.
    environment.globals.update(screen_looks=LOOKS, screen_look=Look(), backup_trouble="", may=_nobody_may)
    return Jinja2Templates(env=environment, context_processors=[_of_every_page])


class _Environment(Environment):
    def make_globals(self, d: MutableMapping[str, Any] | None) -> MutableMapping[str, Any]:
        """As a plain dictionary: each import in a template compares its names, and a state has many imports."""
        return {**self.globals, **(d or {})}


def _of_every_page(request: Request) -> dict[str, object]:
    """`may("director")` says whether whoever is signed in may what that role may."""
    keeper = getattr(request.app.state, "backups", None)
    who = signed_in_of(request) or getattr(request.state, "who_looks", None)
    return {
        "screen_look": look_of(request.cookies),
        "backup_trouble": keeper.trouble if keeper else "",
        "may": who.may if who else _nobody_may,
    }


def _nobody_may(least: str) -> bool:
    return False


def mhz(value: int) -> str:
    """5658 → "5658 MHz", not to be broken over two lines."""
    return f"{value}\N{NO-BREAK SPACE}MHz"


def mw(value: float) -> str:
    """25.0 → "25 mW"."""
    return f"{short(value)}\N{NO-BREAK SPACE}mW"


def short(value: float) -> str:
    """25.0 → "25", 2.5 → "2.5": six figures at most, to be read. What a field holds stays as it is typed."""
    return wording.short_decimal(float(f"{value:g}"))


def db(value: float) -> str:
    """-0.59 → "-0.6 dB" with a true minus, always with its sign and never a negative zero."""
    return f"{wording.decimal(value, 1, signed=True)}\N{NO-BREAK SPACE}dB"


def unbroken(sentence: str) -> str:
    """A sentence in which no line ends between a figure and its unit, or a channel and its MHz."""
    return _UNIT_BEHIND_FIGURE.sub("\N{NO-BREAK SPACE}", sentence)


def clock(at: datetime, time_zone: str, with_seconds: bool = False) -> str:
    """The time of day where the field is: "14:05" or "14:05:09"."""
    return wording.time_of_day(at.astimezone(ZoneInfo(time_zone)), with_seconds)


def day_and_clock(at: datetime, time_zone: str) -> str:
    """The moment where the field is, to be read in a list: "16 May 14:05:09"."""
    local = at.astimezone(ZoneInfo(time_zone))
    return f"{wording.day_and_month(local)} {wording.time_of_day(local, with_seconds=True)}"


def qr(address: str) -> Markup:
    """The QR code of a whole address as an inline drawing."""
    return Markup(qr_svg(address))


def _sentence(message: str, /, **values: object) -> Markup:
    """What stands in a trans block: markup, its values escaped. `_` gives plain text instead."""
    return Markup(wording.gettext(message)) % values


def _counted_sentence(one: str, many: str, number: int, /, **values: object) -> Markup:
    return Markup(wording.plural_form(one, many, number)) % {"number": number, **values}


class _UndeclaredName(Undefined):
    """A name that no page declared is a fault; a missing key of a declared one (`faults.tunes`) is empty."""

    def _empty_if_key(self) -> None:
        if self._undefined_obj is missing:
            self._fail_with_undefined_error()

    def __str__(self) -> str:
        self._empty_if_key()
        return ""

    def __bool__(self) -> bool:
        self._empty_if_key()
        return False

    def __iter__(self):  # type: ignore[no-untyped-def]
        self._empty_if_key()
        return iter(())

    def __len__(self) -> int:
        self._empty_if_key()
        return 0


class _VersionedStatic(Extension):
    """Write `/static/css/base.css` in a template; the page asks for it with the hash of its content."""

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        return _STATIC_ADDRESS.sub(lambda found: versioned(found[1]), source)
