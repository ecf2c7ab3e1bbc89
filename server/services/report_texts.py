"""A result as text for people at a terminal: the plan first, then why, then what it rests on."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from server.allocator.plan import CompareRow, Conflict, DayPlan, LevelTried
from server.radio.grade import grade_word, picture_grade
from server.radio.interference import SlotMargin
from server.services.cause_words import cause_words
from server.services.gear import label_at
from server.services.report_assumptions import Assumption
from server.services.slot_facts import HeatFacts

NONE = "-"
LEAST_GAP_DB = 0.005
"""What is less would be shown as 0.00 dB."""

_STATUS_WORDS = {
    "optimal": "Planned: no plan has a better worst margin.",
    "feasible": "Planned: the best that was found.",
    "unflyable": "Do not fly this plan: its worst picture is below grade 2.5.",
    "infeasible": "There is no plan: these rules cannot hold together.",
}
_COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight")
_HEAD = ("Pilot", "Channel", "MHz", "Power", "Margin", "Picture", "Limiting cause")


def plan_text(
    plan: DayPlan,
    facts: Sequence[HeatFacts],
    labels: Mapping[str, Mapping[int, str]],
    warnings: Iterable[str],
    assumptions: Iterable[Assumption],
) -> str:
    """A plan, or why there is none."""
    parts = ["\n".join([_status_words(plan), *(_summary(plan, facts) if plan.heats else ())])]
    parts += [_heat_text(one, labels) for one in facts]
    parts += [_levels_text(plan.levels)] if plan.heats else []
    parts += [_conflict_text(one) for one in plan.conflicts]
    parts += [listed("Notes", plan.search_notes), listed("Warnings", warnings), assumed(assumptions)]
    return "\n\n".join(part for part in parts if part) + "\n"


def compare_text(
    rows: Sequence[CompareRow], warnings: Iterable[str], assumptions: Iterable[Assumption]
) -> str:
    """How many can fly."""
    cells = [
        (
            str(row.aircraft),
            str(row.heats),
            f"{row.worst_grade:.1f} {grade_word(row.worst_grade)}",
            decibels(row.worst_margin_db),
            decibels(row.bound_db),
            f"{row.minutes:g} min",
        )
        for row in rows
    ]
    head = ("In the air", "Heats", "Worst picture", "Worst margin", "At most", "A round takes")
    table = "\n".join(table_lines([head, *cells]))
    why_not = [f"{row.aircraft} at once: {row.why_not}" for row in rows if row.why_not]
    notes = [listed("No plan", why_not), listed("Warnings", warnings), assumed(assumptions)]
    parts = ["How many can fly", table, *notes]
    return "\n\n".join(part for part in parts if part) + "\n"


def decibels(number: float | None) -> str:
    return NONE if number is None else f"{number + 0.0:.2f} dB"


def picture(slot: SlotMargin) -> str:
    """The grade with its word, and its span over receivers where that matters."""
    words = f"{slot.picture_grade:.1f} {slot.grade_word}"
    return f"{words} ({slot.grade_low:.1f} to {slot.grade_high:.1f})" if slot.depends_on_receiver else words


def table_lines(rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """Cells in columns of equal width, two spaces between, nothing trailing."""
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    for row in rows:
        yield "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()


def _status_words(plan: DayPlan) -> str:
    if plan.status == "optimal" and plan.gap_db and plan.gap_db >= LEAST_GAP_DB:
        return f"Planned: the best, with {decibels(plan.gap_db)} of worst margin given up for the stressed margin."
    return _STATUS_WORDS[plan.status]


def _summary(plan: DayPlan, facts: Sequence[HeatFacts]) -> Iterator[str]:
    largest = max(len(one.heat.slots) for one in facts)
    rounds = max(one.heat.round for one in facts)
    power = NONE if plan.common_power_mw is None else f"{plan.common_power_mw:g} mW"
    yield f"Heats: {len(facts)} in {_counted(rounds, 'round')}. Common power: {power}."
    if plan.worst_margin_db is not None:
        grade = picture_grade(plan.worst_margin_db)
        yield (
            f"Worst margin: {decibels(plan.worst_margin_db)}, picture {grade:.1f} {grade_word(grade)}; stressed "
            f"{decibels(plan.stressed_margin_db)}."
        )
        yield (
            f"The best possible at this site with {_number(largest)} up: {decibels(plan.site_ceiling_db)}; "
            f"no plan of this day is above {decibels(plan.bound_db)}."
        )
    yield f"Channels of the day: {', '.join(str(mhz) for mhz in plan.day_channels_mhz)} MHz."
    yield f"Retunes during the day: {plan.retunes}. Opponents met again: {plan.repeat_pairings}."


def _heat_text(facts: HeatFacts, labels: Mapping[str, Mapping[int, str]]) -> str:
    rows = [
        (
            slot.callsign,
            label_at(slot.mhz, labels.get(slot.callsign, {})) or NONE,
            str(slot.mhz),
            f"{slot.power_mw:g} mW",
            decibels(margin.margin_db),
            picture(margin),
            cause_words(margin),
        )
        for slot, margin in facts.rows()
    ]
    heat = facts.heat
    title = f"Heat {heat.number}, round {heat.round}: worst margin {decibels(heat.worst_margin_db)}"
    return "\n".join([title, *(f"  {line}" for line in table_lines([_HEAD, *rows]))])


def _levels_text(levels: Sequence[LevelTried]) -> str:
    """The common levels, with what each would mean for the heats and channels above."""
    rows = [
        (
            f"  {level.common_mw:g} mW",
            f"{level.kept_m:.0f} m" + ("" if level.is_link_enough else ", too little"),
            f"{level.threshold_m:.0f} m",
            decibels(level.worst_margin_db),
            f"{picture_grade(level.worst_margin_db):.1f}",
            "chosen" if level.is_chosen else "",
        )
        for level in levels
    ]
    head = ("  Level", "Carries to", "Threshold", "Worst margin", "Picture", "")
    return "\n".join(["Common power for these heats and channels", *table_lines([head, *rows])])


def _conflict_text(conflict: Conflict) -> str:
    lines = [conflict.explanation, *(f"  Rule: {rule}" for rule in conflict.rules)]
    return "\n".join([*lines, *(f"  Cure: {cure}" for cure in conflict.cures)])


def listed(title: str, sentences: Iterable[str]) -> str:
    lines = [f"  {sentence}" for sentence in sentences]
    return "\n".join([title, *lines]) if lines else ""


def assumed(assumptions: Iterable[Assumption]) -> str:
    rows = [(f"  {one.name}", f"{_value(one.value)} {one.unit}".strip(), one.source) for one in assumptions]
    return "\n".join(["Assumptions", *table_lines(rows)]) if rows else ""


def _value(value: Any) -> str:
    if value is None or value == []:
        return "none"
    if isinstance(value, list):
        return " ".join(_value(one) for one in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _number(count: int) -> str:
    return _COUNTS[count] if count < len(_COUNTS) else str(count)


def _counted(count: int, noun: str) -> str:
    return f"{_number(count)} {noun}" + ("" if count == 1 else "s")
