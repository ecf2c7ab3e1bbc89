"""When the day changes: what can be had for 0, 1, 2, ... pilots set to another channel.

1. `rest.py` takes the heats ahead as they stand after the change, and the places that newcomers need.
2. With nobody moved the newcomers get the heats and channels that leave the day best.
3. One pilot more at a time: the pilots of the worst heat are tried on every channel, the best few trials are
   improved pilot by pilot and kept, and the worst heat is solved exactly with the moves that are left to it.
4. Each row carries what its worst heat can have at the most with so many moved. Where the row reaches that, it
   is proved: with these heats no other channels with so few moved are better.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from server.allocator.checks import broken_rules
from server.allocator.errors import Cancelled
from server.allocator.few_moves import HeatMoves, heat_moves
from server.allocator.moves_core import BROKEN
from server.allocator.plan import DayPlan, Heat, Progress, Slot
from server.allocator.rest import Frame, RestOfDay, frame_of_rest
from server.allocator.rest_search import Placed, RestSearch
from server.allocator.scoring import finite_or_none, margin_of_load_db, margins_db
from server.radio.grade import is_flyable
from server.wording import gettext as _

HELPS_DB = 0.05
"""A row must be better than the one before it by as much: less is not seen in tenths of a dB."""

MOST_MORE = 6
"""Rows end so many moves after the first even if more would still help: to move so many is a new plan."""

MOST_TO_MEND = 24
"""So many more are tried while the spacing is broken or the worst picture is not to be flown."""

PROOF_NODES = 20_000
"""Of one search for what a heat can have at all; its bound holds also where it stops."""

MOST_TRIED = 3
"""Of several heats ahead, the worst is solved exactly for so many more moved than must; a heat alone for any."""

PROOF_TIE_DB = 0.005


@dataclass(frozen=True)
class Move:
    """A transmitter that has to be set to another channel."""

    callsign: str
    from_mhz: int
    to_mhz: int


@dataclass(frozen=True)
class Joins:
    """Who comes into heats ahead, and on which channel."""

    callsign: str
    mhz: int
    heats: tuple[int, ...]


@dataclass(frozen=True)
class TradeOff:
    """One row: what so many moves bring.

    moved      transmitters set to another channel
    heats      those ahead, with their numbers from now on
    bound_db   no channels with at most so many moved give the worst of these heats more
    is_proved  the worst margin is at that bound
    extra_heats  numbers of heats that the plan did not have
    """

    moved: int
    heats: tuple[Heat, ...]
    worst_margin_db: float | None
    bound_db: float | None
    is_proved: bool
    moves: tuple[Move, ...]
    joins: tuple[Joins, ...]
    extra_heats: tuple[int, ...] = ()


@dataclass(frozen=True)
class ChangedDay:
    """What can be done about a change.

    rows      each better than the one before it, by the number moved
    left_out  callsigns of pilots whose gear has no channel left
    missed    callsign and round, of pilots who join and find no room in a round that has begun
    in_the_way  numbers of heats that no channels can hold; then there are no rows
    is_end      more moves bring nothing: the worst heat can have no more at all
    """

    rows: tuple[TradeOff, ...]
    left_out: tuple[str, ...] = ()
    missed: tuple[tuple[str, int], ...] = ()
    in_the_way: tuple[int, ...] = ()
    is_end: bool = False


def trade_offs(rest: RestOfDay, keep_going: Callable[[Progress], bool] | None = None) -> ChangedDay:
    """The rows for a day that changed. Raises Cancelled when the caller wishes so.

    With several heats ahead the rows are the best that a local search found; the bound beside each says how
    far from the best it can be. The same answer every time for the same question.
    """
    found = _Changes(rest, frame_of_rest(rest), keep_going).run()
    if found.rows or not frame_of_rest(rest).seats:
        return found
    # With the newcomers in the heats of the plan no channels are left: give them heats of their own.
    apart = _Changes(rest, frame_of_rest(rest, has_extra_heats=True), keep_going).run()
    return apart if apart.rows else found


class _Changes:
    def __init__(self, rest: RestOfDay, frame: Frame, caller: Callable[[Progress], bool] | None) -> None:
        self.rest = rest
        self.frame = frame
        self.caller = caller or (lambda _progress: True)
        self.stage = ""
        self.steps = 0
        self.search = RestSearch(rest.problem, frame, len(rest.down), self._step)
        self.most_tried = MOST_TRIED if len(frame.heats) > 1 else len(rest.problem.pilots)
        self.solved: dict[tuple[int, ...], HeatMoves] = {}

    def run(self) -> ChangedDay:
        left_out = tuple(self.rest.problem.pilots[row].callsign for row in self.frame.stuck)
        if not self.frame.heats:
            return ChangedDay((), left_out, self._missed())
        rows: list[TradeOff] = []
        is_end = False
        fewest = self.search.forced
        self.stage = _("the best with %(number)s moved", number=fewest)
        beam = [self.search.start()]
        for moved in range(fewest, fewest + MOST_TO_MEND + 1):
            if moved > fewest + MOST_MORE and rows and is_flyable(rows[-1].worst_margin_db):
                break
            self.stage = _("the best with %(number)s moved", number=moved)
            if moved > fewest:
                beam = self.search.one_more(beam, moved)
            beam = self._with_worst_heat_solved(beam, moved)
            rows = self._with_row(rows, beam[0], moved, moved <= fewest + MOST_MORE)
            if is_end := self._is_end(beam[0]):
                break
        sound = tuple(row for row in rows if not self._breaks_rules(row))
        in_the_way = () if sound else self.search.broken_heats(beam[0])
        return ChangedDay(sound, left_out, self._missed(), in_the_way, is_end)

    def _with_row(self, rows: list[TradeOff], best: Placed, moved: int, is_near: bool) -> list[TradeOff]:
        """The rows and one for the best state, if it helps; far from the fewest moves only one that can fly."""
        worst_db = float(margin_of_load_db(best.worst))
        helps = not rows or worst_db >= _or_infinite(rows[-1].worst_margin_db) + HELPS_DB
        if best.worst >= BROKEN or not helps or not (is_near or not rows or is_flyable(worst_db)):
            return rows
        row = self._row(best, moved)
        # What was found late with fewer moves stands in place of what was found before it with more.
        return [*(before for before in rows if before.moved < row.moved), row]

    def _with_worst_heat_solved(self, beam: list[Placed], moved: int) -> list[Placed]:
        """The states, and the first of them with its worst heat solved by itself where that lifts the day."""
        first = beam[0]
        heat = self.search.worst_heat(first)
        members = self.search.members(first, heat)
        elsewhere = self.search.moved_outside(first, members)
        answer = self._heat(members).best(moved - elsewhere, self.most_tried, first.worst)
        if answer.channel is None:
            return beam
        solved = self.search.with_channels(first, members, answer.channel)
        return sorted([*beam, solved], key=lambda one: one.key)

    def _heat(self, members: tuple[int, ...]) -> HeatMoves:
        if members not in self.solved:
            self.solved[members] = heat_moves(
                self.frame.gear, members, self.search.stay, self.search.is_set, PROOF_NODES, self._go_on
            )
        return self.solved[members]

    def _is_end(self, best: Placed) -> bool:
        """Whether the worst heat has all that it can have, however many move."""
        members = self.search.members(best, self.search.worst_heat(best))
        most_db = float(margin_of_load_db(self._heat(members).least_load()))
        return float(margin_of_load_db(best.worst)) >= most_db - HELPS_DB

    def _row(self, best: Placed, moved: int) -> TradeOff:
        worst_db = float(margin_of_load_db(best.worst))
        members = self.search.members(best, self.search.worst_heat(best))
        solved = self._heat(members)
        answer = solved.best(moved - self.search.forced_outside(members), self.most_tried, best.worst)
        bound_load = answer.load if answer.is_exact else solved.least_load()
        bound_db = max(worst_db, float(margin_of_load_db(bound_load)))
        heats, extra = self._heats(best)
        pilots = self.rest.problem.pilots
        moves = tuple(
            Move(
                pilots[row].callsign,
                pilots[row].current_mhz or 0,
                int(self.frame.gear.mhz[best.channel[row]]),
            )
            for row in self.search.moved(best)
        )
        return TradeOff(
            moved=len(moves),
            heats=heats,
            worst_margin_db=finite_or_none(worst_db),
            bound_db=finite_or_none(bound_db),
            is_proved=worst_db >= bound_db - PROOF_TIE_DB,
            moves=moves,
            joins=self._joins(heats),
            extra_heats=extra,
        )

    def _heats(self, best: Placed) -> tuple[tuple[Heat, ...], tuple[int, ...]]:
        found: list[Heat] = []
        extra: list[int] = []
        before = {heat.number: heat for heat in self.rest.heats}
        for place, open_heat in enumerate(self.frame.heats):
            members = [row for row in self.search.members(best, place) if row < len(self.rest.problem.pilots)]
            if not members:
                continue
            number = self.rest.first_open + len(found)
            if open_heat.was is None:
                extra.append(number)
            heat = self._heat_of(number, open_heat.round, place, members, best)
            was = before.get(open_heat.was or 0)
            is_as_it_was = was is not None and set(was.slots) == set(heat.slots) and not self.rest.down
            found.append(replace(heat, proved=is_as_it_was and was is not None and was.proved))
        return tuple(found), tuple(extra)

    def _heat_of(self, number: int, round_number: int, place: int, pilots: list[int], best: Placed) -> Heat:
        members = self.search.members(best, place)
        gear = self.frame.gear
        margins, stressed = margins_db(gear, members, gear.mhz[best.channel[list(members)]].tolist())
        slots = [
            Slot(
                self.rest.problem.pilots[row].callsign,
                int(gear.mhz[best.channel[row]]),
                self.frame.powers_mw[row],
            )
            for row in pilots
        ]
        return Heat(
            number,
            round_number,
            tuple(sorted(slots, key=lambda slot: (slot.mhz, slot.callsign))),
            finite_or_none(margins.min()),
            finite_or_none(stressed.min()),
            False,
        )

    def _joins(self, heats: tuple[Heat, ...]) -> tuple[Joins, ...]:
        found = []
        for row in dict.fromkeys(seat.pilot for seat in self.frame.seats):
            callsign = self.rest.problem.pilots[row].callsign
            own = [
                (heat.number, slot.mhz) for heat in heats for slot in heat.slots if slot.callsign == callsign
            ]
            found.append(Joins(callsign, own[0][1], tuple(number for number, _ in own)))
        return tuple(found)

    def _missed(self) -> tuple[tuple[str, int], ...]:
        return tuple((self.rest.problem.pilots[row].callsign, number) for row, number in self.frame.missed)

    def _breaks_rules(self, row: TradeOff) -> bool:
        flown = tuple(heat for heat in self.rest.heats if heat.number < self.rest.first_open)
        left_out = {self.rest.problem.pilots[pilot].callsign for pilot in self.frame.stuck}
        pilots = tuple(one for one in self.rest.problem.pilots if one.callsign not in left_out)
        plan = DayPlan("feasible", (*flown, *row.heats))
        return bool(broken_rules(plan, self.rest.problem.with_pilots(pilots), len(flown)))

    def _step(self) -> None:
        self.steps += 1
        if not self.caller(Progress(self.stage, self.steps, None)):
            raise Cancelled(_("the search was cancelled"))

    def _go_on(self, _stage: str, _nodes: int, _margin_db: float | None) -> bool:
        self._step()
        return True


def _or_infinite(margin_db: float | None) -> float:
    return np.inf if margin_db is None else margin_db
