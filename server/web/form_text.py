"""Forms as text by field: services read what they know, and say what is wrong with it in its own words."""

from collections.abc import Mapping
from typing import Annotated

from fastapi import Depends, Request

from server.services.stale_forms import Form

LARGEST_FIELD_BYTES = 4 * 1024 * 1024
"""A pasted sign-up list; the framework's own limit is 1 MiB, and the body has its own."""

_WAS = "was_"


async def _form_text(request: Request) -> Mapping[str, str]:
    """A file in place of text is no text; closing the form closes it."""
    async with request.form(max_part_size=LARGEST_FIELD_BYTES) as form:
        return {name: text for name, text in form.items() if isinstance(text, str)}


FormText = Annotated[Mapping[str, str], Depends(_form_text)]


def was(form: Mapping[str, str]) -> dict[str, str]:
    """What the page showed when it was loaded, from the hidden fields that repeat it."""
    return {name.removeprefix(_WAS): text for name, text in form.items() if name.startswith(_WAS)}


def overtakable(form: Mapping[str, str], **typed: str) -> Form:
    """A form with what its page showed, to be compared with what is saved now; `typed` is what a press wishes
    otherwise than by its fields."""
    return Form({**form, **typed}, was(form))


def whole_number(form: Mapping[str, str], name: str) -> int:
    """A hidden number such as a version; 0, which nothing has, where it was tampered with."""
    text = form.get(name, "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0
