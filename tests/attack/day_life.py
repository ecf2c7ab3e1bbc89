"""The life of a day as anybody might press it, at the services.

Presses are chosen blindly, so many are refused: that is part of it, since what is refused must say so in a
sentence and change nothing. Time moves on by half a minute with each.
"""

from collections.abc import Mapping

import hypothesis
from hypothesis import strategies as st
from hypothesis.stateful import rule, run_state_machine_as_test
from sqlmodel import Session

from server.services import (
    aircraft,
    call_slots,
    call_steps,
    calls,
    clearances,
    day_changes,
    edits,
    flight_line,
    line_desk,
    pilots,
    plans,
)
from server.services.flight_states import PILOT_EVENTS
from server.services.standings import standing
from server.storage import calls as stored_calls
from server.storage.tables import CHECKED_IN, NO_SHOW, WITHDRAWN, FieldDay
from tests.attack.pits_life import PitsLife
from tests.attack.pressed_day import one_of, some
from tests.services.planned_days import edit, plan_at_once

LATE = ("Vesper", "Willow", "Yarrow")


class DayLife(PitsLife):
    """The desk, the plan and the flight line, beside the pits and open flying."""

    # The desk.

    @rule(number=some, power=st.sampled_from(("25", "25 200", "600", "")))
    def check_in(self, number: int, power: str) -> None:
        typed = {"callsign": one_of(LATE, number), "tunes": "A B E F R", "power_mw": power}
        self.press(lambda session, day: pilots.add(session, day, typed, "desk", self.now))

    @rule(number=some, state=st.sampled_from((CHECKED_IN, WITHDRAWN, NO_SHOW)))
    def change_state(self, number: int, state: str) -> None:
        def act(session: Session, day: FieldDay) -> None:
            pilots.set_state(session, day, self._pilot(session, number), state, "desk", self.now)

        self.press(act)

    @rule(number=some, tunes=st.sampled_from(("R", "R1", "A B E F R", "E1")))
    def fly_a_spare(self, number: int, tunes: str) -> None:
        def act(session: Session, day: FieldDay) -> None:
            pilot = self._pilot(session, number)
            spare = aircraft.add_spare(session, day, pilot, {"tunes": tunes}, "desk", self.now)
            aircraft.fly(session, day, pilot, spare, "desk", self.now)

        self.press(act)

    # The plan.

    @rule()
    def plan(self) -> None:
        self.press(plan_at_once, is_told=False)

    @rule(answers_for=st.booleans())
    def publish(self, answers_for: bool) -> None:
        def act(session: Session, day: FieldDay) -> None:
            draft = standing(session, day).draft
            plans.publish(session, day, draft.version, draft.seen, answers_for, self.now)

        self.press(act)

    @rule(number=some, heat=st.integers(1, 3), to=st.integers(1, 3))
    def move_by_hand(self, number: int, heat: int, to: int) -> None:
        def act(session: Session, day: FieldDay) -> None:
            pilot_id = self._pilot(session, number).id or 0
            edit(session, day, lambda content, basis: edits.move(content, basis, heat, pilot_id, to))

        self.press(act, is_told=False)

    @rule(number=some, what=st.sampled_from(("late", "gone", "back", "down", "again")))
    def say_what_happened(self, number: int, what: str) -> None:
        def act(session: Session, day: FieldDay) -> None:
            draft = standing(session, day).draft
            form = {
                "act": what,
                "pilot": str(self._pilot(session, number).id),
                "state": "withdrawn",
                "heat": "1",
            }
            day_changes.happen(session, day, draft, form | {"version": str(draft.version)}, self.now)

        self.press(act, is_told=what != "again")

    # The flight line.

    @rule()
    def usual_step(self) -> None:
        """The one key of the flight line, which is never refused while a heat is up."""
        with self.database.read() as session:
            desk = line_desk.line_desk(session, self._day(session), self.now)
        step = desk.step
        if step is not None:
            self.press(
                lambda session, day: self._do_step(session, day, step.action, step.fields),
                is_offered=desk.call is not None,
            )

    def _do_step(self, session: Session, day: FieldDay, action: str, fields: Mapping[str, str]) -> None:
        match action.split("/"):
            case ["call"]:
                calls.call(session, day, [int(fields["heats"])], fields["seen"], "director", self.now)
            case ["lift"]:
                flight_line.lift(session, day, "director", self.now)
            case ["walkers"]:
                flight_line.set_walkers(session, day, False, "director", self.now)
            case ["step", event]:
                calls.act(session, day, event.replace("-", " "), fields["seen"], "director", self.now)
            case ["slots", slot_id, event]:
                event = event.replace("-", " ")
                call_slots.act(session, day, int(slot_id), fields["seen"], event, "director", self.now)
            case ["clearances", clearance_id, name]:
                clearances.act_of_director(
                    session, day, int(clearance_id), fields["seen"], name, "", "director", self.now
                )

    @rule(
        heats=st.lists(st.integers(1, 3), min_size=1, max_size=2), words=st.sampled_from(("", "It is off."))
    )
    def call(self, heats: list[int], words: str) -> None:
        def act(session: Session, day: FieldDay) -> None:
            seen = calls.seen_of(session, day)
            calls.call(session, day, heats, seen, "director", self.now, override=words)

        self.press(act)

    @rule(event=st.sampled_from(list(call_steps.ACTS)))
    def step(self, event: str) -> None:
        def act(session: Session, day: FieldDay) -> None:
            calls.act(session, day, event, calls.seen_of(session, day), "director", self.now)

        self.press(act)

    @rule(number=some, event=st.sampled_from(PILOT_EVENTS), words=st.sampled_from(("", "It is a spare.")))
    def press_a_place(self, number: int, event: str, words: str) -> None:
        def act(session: Session, day: FieldDay) -> None:
            last = stored_calls.last(session, 1)
            if last is not None:
                slot = one_of(stored_calls.slots_of(session, last.id or 0), number)
                at = self.now
                call_slots.act(session, day, slot.id or 0, slot.seen, event, "director", at, words=words)

        self.press(act)

    @rule(number=some, which=some)
    def press_what_the_desk_offers(self, number: int, which: int) -> None:
        def act(session: Session, day: FieldDay) -> None:
            call = line_desk.line_desk(session, day, self.now).call
            row = one_of(call.rows, number) if call else None
            if row is not None and row.acts:
                event = one_of(row.acts, which)
                call_slots.act(session, day, row.slot_id, row.seen, event, "director", self.now)

        self.press(act, is_offered=True)

    @rule()
    def undo(self) -> None:
        def act(session: Session, day: FieldDay) -> None:
            offered = call_slots.undo_seen(session, day)
            if offered is not None:
                call_slots.undo(session, day, offered[1], "director", self.now)

        self.press(act)

    @rule(reason=st.sampled_from(("", "A dog.")))
    def everybody_land(self, reason: str) -> None:
        self.press(
            lambda session, day: flight_line.everybody_land(session, day, reason, "director", self.now)
        )

    @rule()
    def lift(self) -> None:
        self.press(lambda session, day: flight_line.lift(session, day, "director", self.now))

    @rule(are_there=st.booleans())
    def walkers(self, are_there: bool) -> None:
        self.press(
            lambda session, day: flight_line.set_walkers(session, day, are_there, "director", self.now)
        )

    @rule(beside=st.sampled_from(("yes", "")))
    def pits_beside_a_heat(self, beside: str) -> None:
        self.press(
            lambda session, day: flight_line.save_hours(
                session, day, {"beside": beside}, "director", self.now
            )
        )


def live(days: int, presses: int, seed: int | None, shrinks: bool = False) -> None:
    """Press so many days so often. Raises what the first one does that does not hold.

    seed     None: the same days every time, as the settings of the tests say
    shrinks  look for the fewest presses that show it, which takes minutes
    """
    phases = [hypothesis.Phase.generate, *([hypothesis.Phase.shrink] if shrinks else [])]
    settings = hypothesis.settings(
        max_examples=days,
        stateful_step_count=presses,
        deadline=None,
        database=None,
        derandomize=seed is None,
        phases=phases,
        suppress_health_check=list(hypothesis.HealthCheck),
    )
    machine = DayLife if seed is None else hypothesis.seed(seed)(DayLife)
    run_state_machine_as_test(machine, settings=settings)
