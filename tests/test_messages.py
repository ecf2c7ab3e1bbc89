"""Messages for people in the code: what a catalogue can look up, with a value for every place in it."""

import ast
import re
from pathlib import Path

SERVER = Path(__file__).resolve().parents[1] / "server"
MESSAGES_OF = {"_": 1, "ngettext": 2, "marked": 1, "said": 1}
"""How many messages each mark takes, first of all its arguments."""


def marks_in(file: Path) -> list[tuple[str, ast.Call]]:
    """Calls of the marks, each with its place."""
    return [
        (f"{file.relative_to(SERVER)}:{node.lineno}", node)
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in MESSAGES_OF
    ]


MARKS = [mark for file in sorted(SERVER.rglob("*.py")) for mark in marks_in(file)]


def messages(call):
    first = call.args[: MESSAGES_OF[call.func.id]]
    return [one.value for one in first if isinstance(one, ast.Constant) and isinstance(one.value, str)]


def test_no_message_is_filled_in_before_it_is_looked_up():
    assert [place for place, call in MARKS for one in call.args if isinstance(one, ast.JoinedStr)] == []


def test_every_place_in_a_message_has_its_value_and_every_value_its_place():
    odd = []
    for place, call in MARKS:
        named = {name for message in messages(call) for name in re.findall(r"%\((\w+)\)s", message)}
        given = {keyword.arg for keyword in call.keywords}
        by_itself = {"number"} if call.func.id == "ngettext" else set()
        is_told_elsewhere = None in given or call.func.id == "marked" or not messages(call)
        if not is_told_elsewhere and named - given - by_itself | given - named:
            odd.append(place)
    assert odd == []


def test_a_per_cent_sign_beside_values_is_written_twice():
    lone = re.compile(r"%(?!\(\w+\)s)")
    with_values = [(place, messages(call)) for place, call in MARKS if call.keywords]
    assert [
        place for place, found in with_values if any(lone.search(one.replace("%%", "")) for one in found)
    ] == []
