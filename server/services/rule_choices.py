"""The rules chosen for a day: one of the built-in sets by name, or ranges of the organiser's own."""

from collections.abc import Mapping
from typing import Any

from server.radio.errors import RuleError
from server.radio.rules import RuleSet, rule_set_from, rule_set_named
from server.services.faults import FieldFault, FieldsError, nearest
from server.services.words_below import translated
from server.wording import gettext as _
from server.wording import marked

_KINDS: Mapping[str, tuple[type, str]] = {
    "name": (str, marked("text in quotes")),
    "tested_width": (str, marked("text in quotes")),
    "most_transmitters": (int, marked("a whole number")),
    "licence_needed": (bool, marked("true or false")),
    "conditions": (str, marked("text in quotes")),
    "source": (str, marked("text in quotes")),
    "year": (int, marked("a whole number")),
}
NAMES = ("ranges", *_KINDS)
"""Every part that rules of one's own may have; a built-in set is chosen by `name` alone."""


def read_rules(facts: Mapping[str, Any]) -> RuleSet:
    """The rule set that plain values choose. Raises FieldsError with fields such as "rules.ranges"."""
    faults = [*_unknown(facts), *_wrong_kinds(facts)]
    if not faults and "ranges" not in facts and "name" not in facts:
        cure = _('write name = "\N{HORIZONTAL ELLIPSIS}" of a built-in set, or ranges = [[5725, 5875, 25]]')
        faults.append(FieldFault("rules", "", _("neither a name nor ranges are given"), cure))
    if faults:
        raise FieldsError(faults)
    try:
        if "ranges" not in facts:
            return rule_set_named(facts["name"])
        return rule_set_from(
            "own",
            {"name": marked("own rules"), "source": marked("the organiser")} | dict(facts) | {"tag": "own"},
        )
    except RuleError as error:
        part = "ranges" if "ranges" in facts else "name"
        raise FieldsError(
            [FieldFault(f"rules.{part}", str(error.value), translated(error.problem), translated(error.cure))]
        ) from None


def _unknown(facts: Mapping[str, Any]) -> list[FieldFault]:
    faults = []
    for name in (one for one in facts if one not in NAMES):
        meant = nearest(name, NAMES)
        cure = (
            _("write %(meant)s if that is meant, or leave it out", meant=meant)
            if meant
            else _("the names are %(names)s", names=", ".join(NAMES))
        )
        faults.append(FieldFault(f"rules.{name}", name, _("rules have no part %(name)s", name=name), cure))
    return faults


def _wrong_kinds(facts: Mapping[str, Any]) -> list[FieldFault]:
    faults = []
    for name, (kind, words) in _KINDS.items():
        # A bool is an int to Python, and true is no year.
        if name in facts and type(facts[name]) is not kind:
            text = str(facts[name])
            faults.append(
                FieldFault(
                    f"rules.{name}",
                    text,
                    _("%(name)s cannot be %(text)s", name=name, text=text),
                    _("write %(kind)s", kind=_(words)),
                )
            )
    if "ranges" in facts and not isinstance(facts["ranges"], list | tuple):
        text = str(facts["ranges"])
        faults.append(
            FieldFault(
                "rules.ranges", text, _("ranges cannot be %(text)s", text=text), _("write [[5725, 5875, 25]]")
            )
        )
    return faults
