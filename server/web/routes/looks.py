"""Choosing the look of the pages on this device; no sign-in, since a phone in the sun needs it most."""

from typing import Annotated

from fastapi import APIRouter, Form
from fastapi.responses import RedirectResponse, Response

from server.services.errors import InputError
from server.web.dependencies import local_address, public
from server.web.looks import COOKIE, LOOKS
from server.wording import gettext as _

ONE_YEAR_S = 365 * 24 * 3600

router = APIRouter()


@router.post("/look")
@public
def choose_look(look: Annotated[str, Form()] = "", back: Annotated[str, Form()] = "/") -> Response:
    """Keep the look on this device and go back to the page. Raises InputError for one that is not known.

    Pages with script write the same cookie themselves, so that a choice counts while no server answers.
    """
    if look not in LOOKS:
        raise InputError(
            {
                "look": _(
                    "There is no look “%(look)s”. Choose one of: %(looks)s.",
                    look=look,
                    looks=", ".join(LOOKS),
                )
            }
        )
    response = RedirectResponse(local_address(back), 303)
    response.set_cookie(COOKIE, look, max_age=ONE_YEAR_S, samesite="lax")
    return response
