"""The levels of power of a draft, to look at and to choose from."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from server.allocator.plan import Heat, HotTransmitter, LevelTried
from server.allocator.power import hot_transmitters, levels_of, levels_tried
from server.allocator.problem import DayProblem
from server.services import power_words
from server.services.days import rule_set_of, settings_of
from server.services.errors import InputError
from server.services.faults import shown
from server.services.plan_basis import PlanBasis
from server.services.roles import acting
from server.services.standings import day_id
from server.storage import logbook
from server.storage.tables import FieldDay
from server.wording import gettext as _
from server.wording import short_decimal

AUTO = "auto"


@dataclass(frozen=True)
class PowerTable:
    """What the page shows of powers.

    words      which level, how far it carries, what the course needs
    not_tried  steps of the gear that the rules chosen do not allow; empty where there are none
    wished     the level that the director chose, in mW, AUTO where the planner does
    """

    levels: tuple[LevelTried, ...]
    words: str
    not_tried: str
    wished: str

    @property
    def is_wished(self) -> bool:
        return self.wished != AUTO


def wished_level(day: FieldDay) -> str:
    """As `choose` takes it: "200", or AUTO."""
    power = settings_of(day).common_power_mw
    return power if isinstance(power, str) else f"{power:g}"


def power_table(
    day: FieldDay, basis: PlanBasis, heats: Sequence[Heat], common_mw: float | None
) -> PowerTable | None:
    """The levels of a day for heats that are planned; None before there are any."""
    if not heats or common_mw is None:
        return None
    levels, hot = powers_of(basis.problem, heats, common_mw)
    rule_set = rule_set_of(day)
    return PowerTable(
        levels,
        power_words.level_words(levels, hot, basis.problem.site),
        power_words.above_rules_words(basis.above_rules, rule_set.name) if rule_set else "",
        wished_level(day),
    )


def powers_of(
    problem: DayProblem, heats: Sequence[Heat], common_mw: float
) -> tuple[tuple[LevelTried, ...], tuple[HotTransmitter, ...]]:
    """Levels and hot transmitters of heats that are planned."""
    return levels_tried(problem, heats, common_mw), hot_transmitters(problem, heats, common_mw)


def choose(session: Session, day: FieldDay, basis: PlanBasis, text: str, at: datetime) -> None:
    """Fix the common level, in mW, or leave it to the planner with "auto". Raises InputError."""
    settings = settings_of(day)
    wished = AUTO if text == AUTO else _level(basis.problem, text)
    if settings.common_power_mw == wished:
        return
    day.settings_json = settings.model_copy(update={"common_power_mw": wished}).model_dump_json()
    session.flush()
    words = (
        _("The planner chooses the power.")
        if wished == AUTO
        else _("The common power is %(wished)s mW.", wished=short_decimal(float(wished)))
    )
    logbook.append(
        session, day_id(day), acting(session), "power chosen", words, {"common_power_mw": wished}, at
    )


def _level(problem: DayProblem, text: str) -> float:
    offered = [level.common_mw for level in levels_of(problem)] if problem.pilots else []
    for level_mw in offered:
        if text == f"{level_mw:g}":
            return level_mw
    named = ", ".join(short_decimal(level_mw) for level_mw in offered)
    raise InputError(
        {
            "common_power_mw": _(
                "“%(text)s” is no level of this day: choose %(named)s or auto.", text=shown(text), named=named
            )
        }
    )
