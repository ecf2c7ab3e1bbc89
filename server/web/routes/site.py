from collections.abc import AsyncIterator
from typing import Annotated, Any
from urllib.parse import urlsplit

from fastapi import APIRouter, Depends, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import Session
from starlette.datastructures import FormData

from server.services import days, live, site
from server.services.base_urls import USUAL_PORTS, base_urls_of_this_machine
from server.services.errors import InputError
from server.services.roles import DIRECTOR, ORGANIZER
from server.services.site_facts import strongest
from server.services.site_fields import LABELS
from server.services.stale_forms import Form, StaleFormError
from server.services.standings import draft_mark
from server.settings import Settings
from server.storage.session import Database
from server.storage.tables import FieldDay
from server.web.dependencies import (
    DatabaseOfApp,
    HubOfApp,
    Now,
    SettingsOfApp,
    needs,
)
from server.web.security import Policy, is_known_host
from server.web.site_pages import SitePage, Surroundings, WhatFollows, facts_of, site_page, with_presets
from server.web.templating import is_fragment, render
from server.wording import gettext as _

router = APIRouter()

WAS = "was_"
"""Stands before the name of a hidden field that holds what the page showed when it was loaded."""

OTHER = "other"
ONLY_HERE = frozenset({"127.0.0.1", "localhost", "::1"})


async def _form_data(request: Request) -> AsyncIterator[FormData]:
    async with request.form() as form:
        yield form


Posted = Annotated[FormData, Depends(_form_data)]


@router.get("/days/{code}/site")
@needs(DIRECTOR)
def show_site(
    request: Request, code: str, database: DatabaseOfApp, settings: SettingsOfApp, saved: bool = False
) -> Response:
    with database.read() as session:
        day = days.day_with(session, code)
        around = _around(request, session, day, settings)
    told = [_("Saved. The logbook tells what changed.")] if saved else None
    return render(request, site_page(day, around, saved=told))


@router.post("/days/{code}/site")
@needs(ORGANIZER)
def save_site(
    request: Request,
    code: str,
    posted: Posted,
    database: DatabaseOfApp,
    settings: SettingsOfApp,
    hub: HubOfApp,
    now: Now,
) -> Response:
    form = Form(_fields(posted), _fields(posted, WAS), _version(posted))
    said: dict[str, Any] = {}
    status = 200
    try:
        with database.write() as session:
            day = days.day_with(session, code)
            said["saved_at"] = now
            said["saved"] = site.save(session, day, form, now)
        live.announce(database, hub, day.id or 0)
    except InputError as error:
        status = 422
        said = {"form": form.typed, "was": form.was, "version": form.version, "errors": error.faults}
    except StaleFormError as error:
        status = 409
        said = {"form": error.merged, "stale": error}
    if status == 200 and not is_fragment(request):
        return RedirectResponse(f"/days/{code}/site?saved=yes", 303)
    return render(request, _page(request, code, database, settings, is_fragment(request), **said), status)


@router.post("/days/{code}/site/preview")
@needs(DIRECTOR)
def preview_site(
    request: Request, code: str, posted: Posted, database: DatabaseOfApp, settings: SettingsOfApp
) -> Response:
    """What stands in the fields, with a preset pressed or not; nothing is saved."""
    preset, receiver_preset = _text(posted, "preset"), _text(posted, "receiver_preset")
    form = with_presets(_fields(posted), preset, receiver_preset)
    if is_fragment(request) and not preset and not receiver_preset:
        return render(request, WhatFollows(facts_of(form), form))
    said: dict[str, Any] = {"form": form, "was": _fields(posted, WAS), "version": _version(posted)}
    said["notice"] = _("Nothing is saved yet.")
    if preset or receiver_preset:
        filled = _("“%(preset)s” is filled in.", preset=_(preset or receiver_preset))
        said["notice"] = f"{filled} {said['notice']}"
    return render(request, _page(request, code, database, settings, is_fragment(request), **said))


def _page(
    request: Request, code: str, database: Database, settings: Settings, is_part: bool, **said: Any
) -> SitePage:
    with database.read() as session:
        day = days.day_with(session, code)
        around = _around(request, session, day, settings)
    return site_page(day, around, is_fragment=is_part, **said)


def _around(request: Request, session: Session, day: FieldDay, settings: Settings) -> Surroundings:
    policy = Policy.of(settings.allowed_hosts, settings.public_origins, settings.body_limit_kib)
    host = urlsplit(day.base_url or "").hostname or ""
    port = settings.port or request.url.port or USUAL_PORTS[settings.scheme]
    offered = base_urls_of_this_machine(port, settings.scheme)
    return Surroundings(
        live=dict(zip(("kind", "text"), draft_mark(session, day), strict=True)),
        exposure=strongest(session, day),
        base_urls=(*settings.public_origins, *offered),
        is_phone_proof=settings.host not in ONLY_HERE,
        speaks_https_only=bool(settings.certificate) and (day.base_url or "").startswith("http://"),
        unknown_host="" if not host or is_known_host(host, policy.allowed_hosts) else host,
    )


def _fields(posted: FormData, prefix: str = "") -> dict[str, str]:
    """The texts by field: ticks of one name are joined, an address of one's own stands in for "other"."""
    texts = {name: " ".join(_texts(posted, f"{prefix}{name}")).strip() for name in LABELS}
    if texts["base_url"] == OTHER:
        texts["base_url"] = _text(posted, "base_url_other")
    return texts


def _texts(posted: FormData, name: str) -> list[str]:
    return [value for value in posted.getlist(name) if isinstance(value, str)]


def _text(posted: FormData, name: str) -> str:
    return " ".join(_texts(posted, name)).strip()


def _version(posted: FormData) -> int:
    text = _text(posted, "version")
    return int(text) if text.isdecimal() and len(text) < 10 else 0
