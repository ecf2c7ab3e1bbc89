"""What undo brings back: earlier contents of a draft, and bans that were set or lifted with it."""

import json
from dataclasses import dataclass

from server.services import drafts
from server.services.drafts import DraftContent

STEPS_KEPT = 40


@dataclass(frozen=True)
class Step:
    """One act that can be undone.

    text         what was done, as a sentence
    before       the content that the act changed; None where there was no draft
    banned_mhz   taken out of use by the act
    allowed_mhz  brought back into use by the act
    """

    text: str
    before: DraftContent | None
    banned_mhz: int | None = None
    allowed_mhz: int | None = None


def pushed(undo_json: str, step: Step) -> str:
    """The steps with one more on top; the oldest is forgotten when there are too many."""
    steps = [*json.loads(undo_json), _as_plain(step)]
    return json.dumps(steps[-STEPS_KEPT:], ensure_ascii=False)


def popped(undo_json: str) -> tuple[Step, str] | None:
    """The newest step and the steps below it; None when nothing is left to undo."""
    steps = json.loads(undo_json)
    if not steps:
        return None
    *below, top = steps
    before = drafts.from_json(top["before"]) if top["before"] is not None else None
    step = Step(top["text"], before, top["banned_mhz"], top["allowed_mhz"])
    return step, json.dumps(below, ensure_ascii=False)


def _as_plain(step: Step) -> dict[str, object]:
    return {
        "text": step.text,
        "before": None if step.before is None else drafts.as_json(step.before),
        "banned_mhz": step.banned_mhz,
        "allowed_mhz": step.allowed_mhz,
    }
