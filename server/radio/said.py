"""Words for people that the radio model gives. This layer knows no catalogue, so they carry what one needs."""

from collections.abc import Mapping


class Said(str):
    """A text in English with its `template`, places written as `%(name)s`, and the `values` that stand in them.

    Whoever shows it can say the same in another language by the template; `said` is listed among the marks that
    translators' catalogues are collected by.
    """

    template: str
    values: Mapping[str, object]


def said(template: str, /, **values: object) -> Said:
    """The template filled in: a float without more places than it has, anything else as `str` writes it.

    A per cent sign is written `%%` if there are values, and `%` if there are none, as for a catalogue.
    """
    shown = {name: f"{value:g}" if isinstance(value, float) else value for name, value in values.items()}
    text = Said(template % shown if values else template)
    text.template, text.values = template, values
    return text
