"""What is pressed of a day outside its heats: the pits, lost transmitters, trouble, open flying."""

from hypothesis import strategies as st
from hypothesis.stateful import rule
from sqlmodel import Session

from server.services import call_slots, clearances, down_transmitters, open_flying, trouble, turns
from server.storage import clearances as stored_clearances
from server.storage import turns as stored_turns
from server.storage.tables import CLEARANCE_PLACES, CLEARANCE_REASONS, FieldDay, Turn
from tests.attack.pressed_day import PressedDay, one_of, some


class PitsLife(PressedDay):
    """The pits and open flying."""

    @rule(number=some, why=st.sampled_from(CLEARANCE_REASONS), place=st.sampled_from(CLEARANCE_PLACES))
    def ask_to_switch_on(self, number: int, why: str, place: str) -> None:
        def act(session: Session, day: FieldDay) -> None:
            clearances.ask(session, day, self._pilot(session, number), why, "desk", self.now, place=place)

        self.press(act)

    @rule(number=some, name=st.sampled_from(("on", "off", "override")))
    def press_a_clearance(self, number: int, name: str) -> None:
        def act(session: Session, day: FieldDay) -> None:
            live = stored_clearances.live(session, 1)
            if live:
                one = one_of(live, number)
                words = "The field is empty." if name == "override" else ""
                clearances.act_of_director(
                    session, day, one.id or 0, one.seen, name, words, "director", self.now
                )

        self.press(act)

    @rule(number=some, place=st.sampled_from(CLEARANCE_PLACES))
    def find_on_unasked(self, number: int, place: str) -> None:
        def act(session: Session, day: FieldDay) -> None:
            call_slots.found_on(session, day, self._pilot(session, number), place, "director", self.now)

        self.press(act)

    @rule(number=some)
    def find_what_is_down(self, number: int) -> None:
        def act(session: Session, day: FieldDay) -> None:
            lost = down_transmitters.still_on(session, day)
            if lost:
                down_transmitters.found(session, day, one_of(lost, number).id or 0, self.now, "director")

        self.press(act)

    @rule(number=some, symptom=st.sampled_from(("lines", "snow", "black")))
    def report_trouble(self, number: int, symptom: str) -> None:
        def act(session: Session, day: FieldDay) -> None:
            pilot = self._pilot(session, number)
            trouble.report(session, day, pilot, {"symptom": symptom}, "pilot", self.now)

        self.press(act)

    @rule(beside=st.booleans())
    def open_open_flying(self, beside: bool) -> None:
        self.press(lambda session, day: open_flying.open_up(session, day, beside, "director", self.now))

    @rule()
    def close_open_flying(self) -> None:
        self.press(lambda session, day: open_flying.close(session, day, "director", self.now))

    @rule(number=some)
    def ask_to_fly(self, number: int) -> None:
        self.press(
            lambda session, day: turns.ask(session, day, self._pilot(session, number), "pilot", self.now)
        )

    @rule(number=some, name=st.sampled_from((*turns.ACTS, turns.OVERRIDE)))
    def press_a_turn(self, number: int, name: str) -> None:
        def act(session: Session, day: FieldDay) -> None:
            live = stored_turns.live(session, 1)
            if live:
                self._press_turn(session, day, one_of(live, number), name)

        self.press(act)

    def _press_turn(self, session: Session, day: FieldDay, turn: Turn, name: str) -> None:
        if name == turns.OVERRIDE:
            words = "It is a bench supply."
            turns.override(session, day, turn, turn.seen, words, "director", self.now)
        else:
            turns.act(session, day, turn, turn.seen, name, "director", self.now)

    @rule(number=some)
    def restore_a_turn(self, number: int) -> None:
        def act(session: Session, day: FieldDay) -> None:
            turn = stored_turns.by_id(session, 1, number + 1)
            if turn is not None:
                turns.restore(session, day, turn, "director", self.now)

        self.press(act)
