"""The site as a TOML file: distances, receivers, channels, rules; every fault named with its line."""

import re
import tomllib

from server.services.csv_files import decode
from server.services.faults import WHOLE_FILE, Fault, FaultyInputError, FieldsError
from server.services.site_settings import SiteSettings, read_settings
from server.wording import gettext as _

_PLACE = re.compile(r"\s*\(at (?:line (?P<line>[0-9]+), column (?P<column>[0-9]+)|end of document)\)$")
_TABLE = re.compile(r"\s*\[\[?\s*([^\]]+?)\s*\]")


def read_site(data: bytes, file: str) -> SiteSettings:
    """The settings in the bytes of a site file. Raises FaultyInputError."""
    text = decode(data, file)
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FaultyInputError([_syntax_fault(text, file, str(error))]) from None
    except (ValueError, RecursionError):  # a number of thousands of figures, brackets without end
        raise FaultyInputError([_beyond_reading(file)]) from None
    try:
        return read_settings(values)
    except FieldsError as error:
        faults = [fault.at(file, _line_of(fault.field, text)) for fault in error.field_faults]
        raise FaultyInputError(sorted(faults, key=lambda fault: fault.line)) from None


def _syntax_fault(text: str, file: str, message: str) -> Fault:
    place = _PLACE.search(message)
    lines = text.splitlines() or [""]
    line = int(place["line"]) if place and place["line"] else len(lines)
    column = _("character %(column)s", column=place["column"]) if place and place["column"] else _(WHOLE_FILE)
    reason = _PLACE.sub("", message)
    problem = _("this is not TOML (%(reason)s)", reason=f"{reason[:1].lower()}{reason[1:]}")
    cure = _('write one name = value a line, with text in quotes: day_channels = "auto"')
    return Fault(file, line, column, lines[min(line, len(lines)) - 1].strip(), problem, cure)


def _beyond_reading(file: str) -> Fault:
    problem = _("a number has thousands of figures, or brackets stand in each other hundreds deep")
    return Fault(file, 1, _(WHOLE_FILE), "", problem, _("write the settings only, one name = value a line"))


def _line_of(name: str, text: str) -> int:
    """Where a setting stands: the first line that assigns it in its table, since the parser does not say."""
    table, _, key = name.rpartition(".")
    inside = re.compile(rf"""\s*["']?{re.escape(key)}["']?\s*=""")
    outside = re.compile(rf"\s*{re.escape(name)}\s*=") if table else inside
    lines = list(enumerate(text.splitlines(), start=1))
    current = ""
    for number, line in lines:
        if match := _TABLE.match(line):
            current = match[1]
            if current == name:
                return number
        elif (current == table and inside.match(line)) or (current == "" and outside.match(line)):
            return number
    # Spellings that are rarer still: inline tables, quoted parts of a dotted name.
    return next((number for number, line in lines if key in line), 1)
