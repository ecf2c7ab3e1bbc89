"""Tables of text from any sign-up form or spreadsheet, with the line of every row.

Reading never guesses an encoding: a file that is not UTF-8 is refused with the byte that shows it, because a
callsign with a wrong letter is worse than a file that has to be saved again.
"""

import csv
import io
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from server.services.faults import WHOLE_FILE, Fault, FaultyInputError, shown
from server.wording import gettext as _
from server.wording import marked

LARGEST_BYTES = 5_000_000
DELIMITERS = (",", ";", "\t")

_SAVE_AS = marked("save it again in UTF-8; spreadsheets call that “CSV UTF-8”")


@dataclass(frozen=True)
class Table:
    """A header and its rows.

    columns  names as typed, without empty ones at the end
    rows     raw cells, each with the line it starts on; rows of empty cells are left out
    """

    file: str
    columns: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]


def read_file(path: str | Path) -> bytes:
    """The bytes of a file. Raises FaultyInputError for none, for one too large or not readable."""
    file = str(path)
    try:
        if Path(path).is_dir():
            raise _whole(file, file, _("this is a folder"), _("give the file inside it"))
        if Path(path).stat().st_size > LARGEST_BYTES:
            problem = _("the file is larger than %(number)s MB", number=LARGEST_BYTES // 1000000)
            raise _whole(file, file, problem, _("keep the roster only, as CSV"))
        return Path(path).read_bytes()
    except FileNotFoundError:
        raise _whole(file, file, _("there is no such file"), _("check its name and folder")) from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise _whole(
            file, file, _("the file cannot be read (%(reason)s)", reason=reason), _("check who may read it")
        ) from None


def decode(data: bytes, file: str) -> str:
    """UTF-8 text, with or without a byte order mark. Raises FaultyInputError."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _whole(file, data[:2].hex(" "), _("the file is in UTF-16"), _(_SAVE_AS))
    if (at := data.find(b"\0")) >= 0:
        problem = _("the file holds a NUL byte, so it is not a text file in UTF-8")
        raise FaultyInputError([_fault_at(data, at, file, problem, _(_SAVE_AS))])
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        problem = _("the byte %(byte)s is not UTF-8", byte=f"{data[error.start]:02x}")
        raise FaultyInputError([_fault_at(data, error.start, file, problem, _(_SAVE_AS))]) from None


def read_table(data: bytes, file: str, expected: Sequence[str]) -> Table:
    """The table of a CSV file with commas, semicolons or tabs, whichever fits the header best.

    expected  names of columns that a header of this kind may have, see `column_key`

    Raises FaultyInputError for a file without a header or with a quote that does not end.
    """
    text = decode(data, file)
    lines = list(_lines(text, _delimiter(text, expected), file))
    if not lines:
        cure = _("start it with a header row such as %(expected)s", expected=",".join(expected[:3]))
        raise _whole(file, "", _("the file is empty"), cure)
    columns = list(lines[0][1])
    while columns and not columns[-1]:
        columns.pop()
    return Table(file, tuple(columns), tuple(lines[1:]))


def column_key(name: str) -> str:
    """What spellings of one column name have in common: “Power mW” is power_mw."""
    return "_".join(unicodedata.normalize("NFC", name).casefold().replace("-", " ").replace("_", " ").split())


def _delimiter(text: str, expected: Sequence[str]) -> str:
    header = next((line for line in _source_lines(text) if line.strip()), "")

    def fit(delimiter: str) -> tuple[int, int]:
        try:
            cells = next(csv.reader([header], delimiter=delimiter), [])
        except csv.Error:  # a cell that is too long; reading the lines says where
            return 0, 0
        names = [column_key(cell) for cell in cells]
        return sum(name in expected for name in names), len(names)

    return max(DELIMITERS, key=fit)


def _source_lines(text: str) -> list[str]:
    """Lines as the csv module counts them: str.splitlines would also split at rarer characters."""
    return list(io.StringIO(text, newline=""))


def _lines(text: str, delimiter: str, file: str) -> Iterator[tuple[int, tuple[str, ...]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    while True:
        line = reader.line_num + 1
        try:
            cells = tuple(cell.strip() for cell in next(reader))
        except StopIteration:
            return
        except csv.Error as error:
            raise FaultyInputError([_quote_fault(text, line, file, str(error))]) from None
        if any(cells):
            yield line, cells


def _quote_fault(text: str, line: int, file: str, reason: str) -> Fault:
    start = _source_lines(text)[line - 1].strip()
    if "field limit" in reason and '"' not in start:
        problem = _("a cell of this line is longer than %(number)s characters", number=csv.field_size_limit())
        return Fault(file, line, _(WHOLE_FILE), start, problem, _("shorten it"))
    if "unexpected end" in reason or "field limit" in reason:
        problem, cure = _("a quote starts on this line and does not end"), _('end the cell with "')
    else:
        problem = _("the quotes of this line do not fit (%(reason)s)", reason=reason)
        cure = _('write a quote inside a quoted cell twice, "", and end the cell before the next separator')
    return Fault(file, line, _(WHOLE_FILE), start, problem, cure)


def _fault_at(data: bytes, at: int, file: str, problem: str, cure: str) -> Fault:
    before = data[:at]
    line = before.count(b"\n") + 1
    start = before.rfind(b"\n") + 1
    around = data[start : at + 20].split(b"\n")[0].decode("utf-8", "backslashreplace")
    return Fault(file, line, _("character %(number)s", number=at - start + 1), shown(around), problem, cure)


def _whole(file: str, text: str, problem: str, cure: str) -> FaultyInputError:
    return FaultyInputError([Fault(file, 1, _(WHOLE_FILE), text, problem, cure)])
