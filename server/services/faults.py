"""What is wrong with something typed or with a file: where it stands, the text, and what would be right.

FieldFault    one field of a form or one cell of a row
Fault         one place in a file, ready to be printed on one line
FieldsError   raised with every fault of one set of fields
InputError    raised with every fault of the files and options of one command
"""

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass

from server.services.errors import InputError, ServiceError
from server.wording import marked

WHOLE_FILE = marked("whole file")
"""The column of a fault that is not in one column."""

_LONGEST_SHOWN = 60


@dataclass(frozen=True)
class FieldFault:
    """A field whose text cannot be used; the text is kept as typed."""

    field: str
    text: str
    problem: str
    cure: str

    def at(self, file: str, line: int) -> "Fault":
        return Fault(file, line, self.field, self.text, self.problem, self.cure)


@dataclass(frozen=True)
class Fault:
    """A place in a file; line 1 is the first, also where the fault concerns the whole file."""

    file: str
    line: int
    column: str
    text: str
    problem: str
    cure: str

    def __str__(self) -> str:
        text, problem = shown(self.text), escaped(self.problem)
        quoted = f"“{text}”: " if text and text not in problem else ""
        return f"{self.file}:{self.line}: {escaped(self.column)}: {quoted}{problem}: {escaped(self.cure)}"

    def as_dict(self) -> dict[str, str | int]:
        return asdict(self)


class FieldsError(InputError):
    """Fields that cannot be used: `field_faults` has every fault, `faults` the text under each field."""

    def __init__(self, field_faults: Sequence[FieldFault]) -> None:
        self.field_faults = tuple(field_faults)
        sentences: dict[str, str] = {}
        for fault in field_faults:
            sentences[fault.field] = f"{sentences.get(fault.field, '')} {_sentence(fault)}".strip()
        super().__init__(sentences)


class FaultyInputError(ServiceError):
    """Files or options that cannot be used, all their faults together."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in faults))


def _sentence(fault: FieldFault) -> str:
    return f"{fault.problem[:1].upper()}{fault.problem[1:]}: {fault.cure}."


def shown(text: str) -> str:
    """Text on one line and not too long."""
    return escaped(text if len(text) <= _LONGEST_SHOWN else text[:_LONGEST_SHOWN] + "…")


def escaped(text: str) -> str:
    """Control characters as escapes, which no terminal obeys."""
    return "".join(char if char.isprintable() else char.encode("unicode_escape").decode() for char in text)


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that was probably meant, for a cure."""
    by_key = {name.casefold(): name for name in known}
    found = difflib.get_close_matches(word.casefold()[:100], by_key, n=1)
    return by_key[found[0]] if found else None
