"""What can be wrong with a value that reaches the radio model.

RadioError
├── TuningError   a word that names no channel
├── SiteError     a parameter of the site or the receivers outside its range
└── RuleError     a rule set that does not make sense
"""

from server.radio.said import Said, said


class RadioError(ValueError):
    """A value that the radio model cannot use: what it was, what is wrong, and what would be right."""

    def __init__(self, value: object, problem: str, cure: str) -> None:
        super().__init__(f"{problem}: {cure}")
        self.value = value
        self.problem = problem
        self.cure = cure


class TuningError(RadioError):
    """A word that names no channel, band, range or frequency."""

    def __init__(self, word: str, problem: str, cure: str) -> None:
        super().__init__(word, problem, cure)
        self.word = word


class SiteError(RadioError):
    """A parameter of the site or the receivers that is outside its range."""

    def __init__(self, name: str, value: object, cure: str) -> None:
        super().__init__(value, said("%(name)s cannot be %(value)s", name=name, value=str(value)), cure)
        self.name = name


class RuleError(RadioError):
    """A rule set with ranges, limits or widths that do not make sense."""


def in_range(lowest: float, highest: float, unit: str) -> Said:
    """The cure of a figure outside its range: "give a number from 0 to 30 dB"."""
    if not unit:
        return said(
            "give a number from %(lowest)s to %(highest)s", lowest=float(lowest), highest=float(highest)
        )
    return said(
        "give a number from %(lowest)s to %(highest)s %(unit)s",
        lowest=float(lowest),
        highest=float(highest),
        unit=unit,
    )
