"""New numbers for the rows of a day that is brought in, wherever the day says them.

A table's numbers stay as they are in the file where none of them was ever taken on this machine: then every
snapshot comes to the letter. Else its rows are counted on from the highest, in the same order, for the order of
turns is the queue.
"""

import json
from collections.abc import Mapping
from typing import Any

KEPT_UP_TO = 1_000_000
"""Rows that a file may skip: numbers far ahead would leave too few for the rows to come."""

PARTS = {
    "pilot_id": "pilots",
    "aircraft_id": "aircraft",
    "flying_aircraft_id": "aircraft",
    "call_id": "calls",
    "counted_from_call": "calls",
    "slot_id": "call_slots",
    "turn_id": "turns",
    "clearance_id": "clearances",
    "check_id": "picture_checks",
    "report_id": "trouble_reports",
    "down_id": "down_transmitters",
    "signal_id": "outside_signals",
}
"""Which part of the file a number under this name points into, in columns and in stored facts."""

STORED_FACTS = ("snapshot_json", "content_json", "result_json", "undo_json", "data_json")
_BY_PILOT = ("pins", "powers")
"""Parts of a draft whose keys are pilots' numbers."""


class MissingRowError(Exception):
    """A row points at one that the file does not have: `column` and the number."""

    def __init__(self, column: str, number: int) -> None:
        super().__init__(f"{column} {number}")
        self.column, self.number = column, number


class Numbers:
    """From the numbers of a file to those on this machine, by part of the file."""

    def __init__(self) -> None:
        self._new: dict[str, dict[int, int]] = {}

    def take(self, part: str, of_file: list[int], highest: int) -> None:
        """Settle the numbers of a part; `highest` is the highest that was ever taken here."""
        in_order = sorted(set(of_file))
        stay = not in_order or (in_order[0] > highest and in_order[-1] <= highest + KEPT_UP_TO)
        counted = range(highest + 1, highest + 1 + len(in_order))
        self._new[part] = dict(zip(in_order, in_order if stay else counted, strict=True))

    def are_kept(self) -> bool:
        return all(old == new for of_part in self._new.values() for old, new in of_part.items())

    def row(self, part: str, row: Mapping[str, Any]) -> dict[str, Any]:
        """A row with its numbers of this machine. Raises MissingRowError."""
        given = dict(row)
        if "id" in given:
            given["id"] = self._new[part][given["id"]]
        for column in PARTS.keys() & given.keys():
            if given[column]:  # counted_from_call begins at 0
                given[column] = self._column(column, given[column])
        if not self.are_kept():
            for column in STORED_FACTS:
                if column in given:
                    given[column] = self._text(given[column], column == "undo_json")
            given |= {"gear": self._gear(given["gear"])} if "gear" in given else {}
            # It names rows in ways of its own; what it would take back is past.
            given |= {"last_step_json": ""} if "last_step_json" in given else {}
        return given

    def _column(self, column: str, number: int) -> int:
        new = self._new[PARTS[column]].get(number)
        if new is None:
            raise MissingRowError(column, number)
        return new

    def _gear(self, mark: str) -> str:
        """The mark of an aircraft and its set-up: "7.2", the aircraft's number first."""
        number, dot, version = mark.partition(".")
        new = self._new["aircraft"].get(int(number)) if number.isdecimal() else None
        return mark if new is None else f"{new}{dot}{version}"

    def _text(self, text: str, has_steps: bool = False) -> str:
        facts = self._facts(json.loads(text))
        if has_steps:  # each holds the content of a draft as text
            facts = [{**step, "before": step["before"] and self._text(step["before"])} for step in facts]
        return json.dumps(facts, ensure_ascii=False)

    def _facts(self, value: Any) -> Any:
        if isinstance(value, list):
            return [self._facts(one) for one in value]
        if not isinstance(value, dict):
            return value
        return {key: self._fact(key, one) for key, one in value.items()}

    def _fact(self, key: str, value: Any) -> Any:
        if key in PARTS and type(value) is int:
            return self._new[PARTS[key]].get(value, value)
        if key in _BY_PILOT and isinstance(value, dict):
            pilots = self._new["pilots"]
            return {
                str(pilots.get(int(one), one)) if one.isdecimal() else one: of for one, of in value.items()
            }
        return self._facts(value)
