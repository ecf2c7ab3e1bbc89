"""From a form of the channel plan to the change that it asks for."""

from collections.abc import Callable, Mapping
from datetime import datetime

from sqlmodel import Session

from server.services import draft_changes, edits
from server.services.draft_changes import Change
from server.services.errors import InputError
from server.services.faults import shown
from server.storage.tables import FieldDay
from server.web.form_text import whole_number
from server.wording import gettext as _

Form = Mapping[str, str]


def apply(session: Session, day: FieldDay, form: Form, at: datetime) -> None:
    """Make the change of a form. Raises what the change raises, and InputError for an act that is none."""
    version, act = whole_number(form, "version"), form.get("act", "")
    if act == "ban":
        draft_changes.ban(session, day, version, _number(form, "mhz"), at)
    elif act == "lift ban":
        draft_changes.lift_ban(session, day, version, _number(form, "mhz"), at)
    elif act in _CHANGES:
        draft_changes.edit(session, day, version, _CHANGES[act](form), at)
    else:
        raise InputError(
            {"act": _("“%(act)s” is not a change of a plan: use the buttons of the page.", act=shown(act))}
        )


def _number(form: Form, name: str) -> int:
    text = form.get(name, "")
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise InputError(
            {name: _("“%(text)s” is not a whole number: choose from the list.", text=shown(text))}
        )
    return int(text)


def _number_or_none(form: Form, name: str) -> int | None:
    return _number(form, name) if form.get(name) else None


def _power(form: Form) -> float | None:
    text = form.get("power_mw", "")
    try:
        return float(text) if text else None
    except ValueError:
        raise InputError(
            {"power_mw": _("“%(text)s” is not a power: choose from the list.", text=shown(text))}
        ) from None


def _tune(form: Form) -> Change:
    pilot_id, mhz = _number(form, "pilot"), _number(form, "mhz")
    only_heat = _number(form, "heat") if form.get("only_here") else None
    return lambda content, basis: edits.tune(content, basis, pilot_id, mhz, only_heat)


def _swap(form: Form) -> Change:
    heat, pilot_id, other = _number(form, "heat"), _number(form, "pilot"), _number(form, "other")
    return lambda content, basis: edits.swap_channels(content, basis, heat, pilot_id, other)


def _move(form: Form) -> Change:
    heat, pilot_id, to_heat = _number(form, "heat"), _number(form, "pilot"), _number(form, "to_heat")
    return lambda content, basis: edits.move(content, basis, heat, pilot_id, to_heat)


def _trade(form: Form) -> Change:
    """The other place is a heat and a pilot in one value, "2:14"."""
    heat, pilot_id = _number(form, "heat"), _number(form, "pilot")
    there, _, other_id = form.get("place", "").partition(":")
    other_heat, other = _number({"place": there}, "place"), _number({"place": other_id}, "place")
    return lambda content, basis: edits.trade_places(content, basis, heat, pilot_id, other_heat, other)


def _pin(form: Form) -> Change:
    heat, pilot_id = _number(form, "heat"), _number(form, "pilot")
    return lambda content, basis: edits.pin(content, basis, heat, pilot_id)


def _unpin(form: Form) -> Change:
    pilot_id = _number(form, "pilot")
    return lambda content, basis: edits.unpin(content, basis, pilot_id)


def _set_power(form: Form) -> Change:
    pilot_id, power_mw = _number(form, "pilot"), _power(form)
    return lambda content, basis: edits.set_power(content, basis, pilot_id, power_mw)


def _remove(form: Form) -> Change:
    heat, pilot_id = _number(form, "heat"), _number(form, "pilot")
    return lambda content, basis: edits.remove(content, basis, heat, pilot_id)


def _put_in(form: Form) -> Change:
    callsigns, heat = form.get("callsigns", ""), _number_or_none(form, "into")
    return lambda content, basis: edits.put_in(content, basis, callsigns, heat)


def _delete_heat(form: Form) -> Change:
    heat = _number(form, "heat")
    return lambda content, _basis: edits.delete_heat(content, heat)


_CHANGES: Mapping[str, Callable[[Form], Change]] = {
    "tune": _tune,
    "swap": _swap,
    "move": _move,
    "trade": _trade,
    "pin": _pin,
    "unpin": _unpin,
    "power": _set_power,
    "remove": _remove,
    "put in": _put_in,
    "delete heat": _delete_heat,
}
