"""A day as one file: its format, its checksum, and every way in which a file can be none of ours.

The file is JSON in UTF-8, also compressed with gzip:

    {"format": "bandstand field day", "version": 1, "sha256": "…", "content": {…}}

`content` is described by `day_file_schema.json`, which `schema` writes. `sha256` is of the content as JSON with
sorted keys, no spaces, and every character as itself. A reader refuses a higher version; one that only adds fields
with a usual value keeps the version.
"""

import gzip
import hashlib
import io
import json
import zlib
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from sqlmodel import Session

from server.services.day_file_rows import DayContent, DayRow
from server.services.days import day_with
from server.services.errors import RefusedError
from server.services.faults import shown
from server.storage import day_rows
from server.wording import gettext as _

FORMAT = "bandstand field day"
VERSION = 1
LARGEST_MIB = 64
"""Of a file, unpacked: 64 pilots in 32 heats, published 30 times, are some 27 MiB."""

SCHEMA_FILE = Path(__file__).with_name("day_file_schema.json")
_GZIP = b"\x1f\x8b"


class FaultyDayFileError(RefusedError):
    """A file that cannot be brought in; the sentence says where it is wrong. Nothing was changed."""


def export(session: Session, code: str) -> bytes:
    """The whole day as a file. Raises NotFoundError."""
    day = day_with(session, code)
    content: dict[str, Any] = {"day": DayRow.model_validate(_columns(day, DayRow))}
    for name in day_rows.TABLES:
        row_model, is_single = row_model_of(name)
        rows = [
            row_model.model_validate(_columns(row, row_model))
            for row in day_rows.of_day(session, day.id or 0, name)
        ]
        content[name] = (rows[0] if rows else None) if is_single else tuple(rows)
    plain = DayContent(**content).model_dump(mode="json")
    file = {"format": FORMAT, "version": VERSION, "sha256": _sha256(plain), "content": plain}
    return json.dumps(file, ensure_ascii=False, indent=1).encode()


def row_model_of(name: str) -> tuple[Any, bool]:
    """The model of a part of the content, and whether a day has at most one of it."""
    of_field = DayContent.model_fields[name].annotation
    first, second = of_field.__args__  # type: ignore[union-attr]
    return first, second is not Ellipsis


def read(data: bytes, file: str) -> DayContent:
    """The content of a file. Raises FaultyDayFileError."""
    found = _parsed(_unpacked(data, file), file)
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        raise _not_ours(file)
    version = found.get("version")
    if not isinstance(version, int) or version < 1:
        raise faulty(file, "version", _("a whole number above 0 should stand here"))
    if version > VERSION:
        raise FaultyDayFileError(
            _(
                "“%(file)s” was written by a newer Bandstand (file version %(version)s; this one reads up to "
                "%(known)s): bring it in with that one.",
                file=file,
                version=version if version < 10**6 else _("above a million"),
                known=VERSION,
            )
        )
    content = found.get("content")
    if found.get("sha256") != _sha256(content):
        raise FaultyDayFileError(
            _(
                "“%(file)s” is not as it was written: it was damaged or changed by hand. Export the day "
                "once more.",
                file=file,
            )
        )
    try:
        return DayContent.model_validate_json(json.dumps(content))
    except ValidationError as error:
        raise _not_valid(error, file) from None


def schema() -> dict[str, Any]:
    """The JSON Schema of a whole file."""
    content = DayContent.model_json_schema(ref_template="#/$defs/{model}")
    definitions = content.pop("$defs")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": FORMAT,
        "type": "object",
        "required": ["format", "version", "sha256", "content"],
        "properties": {
            "format": {"const": FORMAT},
            "version": {"const": VERSION},
            "sha256": {"type": "string", "pattern": "^[0-9a-f]{64}$"},
            "content": content,
        },
        "$defs": definitions,
    }


def _columns(row: Any, model: Any) -> dict[str, Any]:
    return {
        name: tuple(value) if isinstance(value := getattr(row, name), list) else value
        for name in model.model_fields
    }


def _unpacked(data: bytes, file: str) -> bytes:
    limit = LARGEST_MIB * 2**20
    if data.startswith(_GZIP):
        try:
            data = gzip.GzipFile(fileobj=io.BytesIO(data)).read(limit + 1)
        except (OSError, EOFError, zlib.error):
            raise FaultyDayFileError(
                _("“%(file)s” is damaged: it cannot be unpacked. Export the day once more.", file=file)
            ) from None
    if len(data) > limit:
        raise FaultyDayFileError(
            _(
                "“%(file)s” is larger than %(limit)s MiB, more than any day takes.",
                file=file,
                limit=LARGEST_MIB,
            )
        )
    return data


def _parsed(data: bytes, file: str) -> Any:
    try:
        return json.loads(data.decode("utf-8-sig"))
    except json.JSONDecodeError as error:
        raise FaultyDayFileError(
            _(
                "“%(file)s” is no field day of Bandstand, or only a part of one: it is not JSON at line %(line)s, "
                "character %(column)s.",
                file=file,
                line=error.lineno,
                column=error.colno,
            )
        ) from None
    except (ValueError, RecursionError):  # not UTF-8, a number of thousands of figures, brackets without end
        raise _not_ours(file) from None


def _sha256(content: Any) -> str:
    text = json.dumps(content, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _not_ours(file: str) -> FaultyDayFileError:
    return FaultyDayFileError(
        _("“%(file)s” is no field day of Bandstand: choose a file that an export wrote.", file=file)
    )


def _not_valid(error: ValidationError, file: str) -> FaultyDayFileError:
    first = error.errors()[0]
    place = ", ".join(str(one + 1) if isinstance(one, int) else one for one in first["loc"])
    return faulty(file, place or "content", first["msg"])


def faulty(file: str, place: str, reason: str) -> FaultyDayFileError:
    """What is wrong at one place of a file, as it is said to people."""
    return FaultyDayFileError(
        _(
            "“%(file)s” cannot be brought in, because of %(place)s: %(reason)s. Nothing was changed.",
            file=file,
            place=shown(place),
            reason=shown(reason),
        )
    )
