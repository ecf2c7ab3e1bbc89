"""The rows of a day that changes one by one: which is worth showing, what is tried, when it ends."""

from dataclasses import replace

import numpy as np
import pytest

from server.allocator import changes
from server.allocator.changes import ChangedDay, TradeOff, trade_offs
from server.allocator.few_moves import HeatMoves
from server.allocator.moves_core import BROKEN
from server.allocator.plan import Slot
from server.allocator.rest import Down, frame_of_rest
from server.allocator.rest_search import Placed
from server.radio.grade import is_flyable
from tests.allocator.test_rest import OTTER, QUILL, ROOK, WREN, heat, pilot, rest_of


def changes_of(rest, caller=None):
    return changes._Changes(rest, frame_of_rest(rest), caller)


def usual():
    return changes_of(rest_of(WREN, OTTER, ROOK, QUILL))


def load(margin_db):
    return 10 ** (-margin_db / 10)


def state(margin_db, key=0.0):
    return Placed(np.zeros(4), (), np.array([load(margin_db), 0.0]), (key,))


def row(moved, worst_db):
    return TradeOff(moved, (), worst_db, worst_db, False, (), ())


class TestWithRow:
    def rows(self, monkeypatch, before, margin_db, moved=2, is_near=True, best=None):
        one = usual()
        monkeypatch.setattr(one, "_row", lambda _best, moved: row(moved, margin_db))
        return [found.moved for found in one._with_row(before, best or state(margin_db), moved, is_near)]

    @pytest.mark.parametrize(("margin_db", "moved"), [(3.06, [0, 2]), (3.04, [0]), (2.0, [0])])
    def test_a_row_is_a_twentieth_of_a_decibel_better_than_the_one_before(
        self, monkeypatch, margin_db, moved
    ):
        assert self.rows(monkeypatch, [row(0, 3.0)], margin_db) == moved

    def test_a_twentieth_of_a_decibel_is_enough(self, monkeypatch):
        monkeypatch.setattr(changes, "HELPS_DB", 0.5)
        monkeypatch.setattr(changes, "margin_of_load_db", lambda _load: 3.5)
        assert self.rows(monkeypatch, [row(0, 3.0)], 3.5) == [0, 2]

    def test_the_first_row_need_not_be_good(self, monkeypatch):
        assert self.rows(monkeypatch, [], -50.0) == [2]
        assert self.rows(monkeypatch, [], -50.0, is_near=False) == [2]

    def test_broken_spacing_is_no_row(self, monkeypatch):
        broken = Placed(np.zeros(4), (), np.array([BROKEN, 0.0]), (1.0,))
        assert self.rows(monkeypatch, [], -120.0, best=broken) == []

    def test_after_everybody_alone_nothing_is_better(self, monkeypatch):
        assert self.rows(monkeypatch, [row(0, None)], 40.0) == [0]

    def test_far_from_the_fewest_moves_only_what_can_be_flown_counts(self, monkeypatch):
        assert not is_flyable(-14.0)
        assert is_flyable(-5.0)
        assert self.rows(monkeypatch, [row(0, -20.0)], -14.0, is_near=False) == [0]
        assert self.rows(monkeypatch, [row(0, -20.0)], -14.0, is_near=True) == [0, 2]
        assert self.rows(monkeypatch, [row(0, -20.0)], -5.0, is_near=False) == [0, 2]

    def test_a_better_state_with_as_few_moved_takes_the_place_of_the_row_before(self, monkeypatch):
        before = [row(0, 1.0), row(1, 2.0), row(2, 3.0)]
        assert self.rows(monkeypatch, before, 4.0, moved=1) == [0, 1]
        assert self.rows(monkeypatch, before, 4.0, moved=2) == [0, 1, 2]
        assert self.rows(monkeypatch, before, 4.0, moved=3) == [0, 1, 2, 3]


class Ladder:
    """A day whose best state with so many moved is given; who was asked for it is noted."""

    def __init__(self, monkeypatch, margins_db, end=99):
        self.one = usual()
        self.asked = []
        self.last = len(margins_db) - 1
        states = [state(margin_db) for margin_db in margins_db]

        def one_more(_beam, moved):
            self.asked.append((moved, self.one.stage))
            return [states[min(moved, self.last)]]

        monkeypatch.setattr(self.one.search, "start", lambda: states[0])
        monkeypatch.setattr(self.one.search, "one_more", one_more)
        monkeypatch.setattr(self.one, "_with_worst_heat_solved", lambda beam, _moved: beam)
        monkeypatch.setattr(self.one, "_is_end", lambda best: end < 99 and best is states[end])
        monkeypatch.setattr(
            self.one, "_row", lambda best, moved: row(moved, float(-10 * np.log10(best.worst)))
        )
        monkeypatch.setattr(self.one, "_breaks_rules", lambda _row: False)


def test_rows_end_six_moves_after_the_first_where_the_day_can_be_flown(monkeypatch):
    ladder = Ladder(monkeypatch, [float(n) for n in range(40)])
    found = ladder.one.run()
    assert [one.moved for one in found.rows] == list(range(7))
    assert not found.is_end
    assert ladder.asked == [(n, f"the best with {n} moved") for n in range(1, 7)]


def test_up_to_twenty_four_more_are_tried_where_nobody_should_fly(monkeypatch):
    ladder = Ladder(monkeypatch, [-60.0 + n for n in range(40)])
    assert [one.moved for one in ladder.one.run().rows] == list(range(7))
    assert len(ladder.asked) == 24
    late = Ladder(monkeypatch, [-20.0] * 10 + [1.0] * 30)
    assert [one.moved for one in late.one.run().rows] == [0, 10]
    assert len(late.asked) == 10


def test_rows_end_where_the_worst_heat_has_all_that_it_can_have(monkeypatch):
    ladder = Ladder(monkeypatch, [float(n) for n in range(40)], end=3)
    found = ladder.one.run()
    assert [one.moved for one in found.rows] == [0, 1, 2, 3]
    assert found.is_end


def test_rows_that_break_a_rule_are_left_out_and_heats_in_the_way_are_named(monkeypatch):
    ladder = Ladder(monkeypatch, [1.0, 2.0, 3.0], end=2)
    monkeypatch.setattr(ladder.one, "_breaks_rules", lambda one: one.moved != 1)
    monkeypatch.setattr(ladder.one.search, "broken_heats", lambda _best: (4,))
    found = ladder.one.run()
    assert [one.moved for one in found.rows] == [1]
    assert found.in_the_way == ()
    monkeypatch.setattr(ladder.one, "_breaks_rules", lambda _one: True)
    assert ladder.one.run().in_the_way == (4,)


def test_a_row_on_channels_too_close_breaks_the_rules():
    one = usual()
    (sound, *_) = one.run().rows
    first = sound.heats[0]
    close = replace(first, slots=(Slot("Wren", 5658, 25.0), Slot("Otter", 5665, 25.0)))
    assert one._breaks_rules(sound) is False
    assert one._breaks_rules(replace(sound, heats=(close, *sound.heats[1:]))) is True


def test_only_sound_rows_are_shown(monkeypatch):
    monkeypatch.setattr(changes, "broken_rules", lambda *_given: ["a rule"])
    assert trade_offs(rest_of(WREN, OTTER, ROOK, QUILL)).rows == ()


@pytest.mark.parametrize(("heats", "most"), [(4, 3), (1, 2)])
def test_a_heat_alone_is_solved_for_any_number_moved_and_one_of_several_for_three(heats, most):
    rest = rest_of(WREN, OTTER, heats=tuple(heat(n, n, WREN, OTTER) for n in range(1, heats + 1)))
    assert changes_of(rest).most_tried == most


def test_heats_of_their_own_for_newcomers_are_tried_only_where_there_are_newcomers(monkeypatch):
    tried = []

    class Nothing:
        def __init__(self, _rest, frame, _caller):
            tried.append(len(frame.heats))

        def run(self):
            return ChangedDay((), in_the_way=(len(tried),))

    monkeypatch.setattr(changes, "_Changes", Nothing)
    assert trade_offs(rest_of(WREN, OTTER, ROOK, QUILL)).in_the_way == (1,)
    assert tried == [4]
    assert trade_offs(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late"))).in_the_way == (2,)
    assert tried == [4, 4, 6]


def test_the_worst_heat_is_solved_with_the_moves_that_others_leave_to_it(monkeypatch):
    one = changes_of(rest_of(WREN, OTTER, ROOK, QUILL, bans_mhz=(5695,)))
    start = one.search.start()
    asked = []

    class Solved:
        def __init__(self, channel=None):
            self.channel = channel

        def best(self, moves, tried, worst):
            asked.append((moves, tried, worst))
            return self

    for place in range(4):
        monkeypatch.setattr(one.search, "worst_heat", lambda _placed, at=place: at)
        monkeypatch.setattr(one, "_heat", lambda _members: Solved())
        assert one._with_worst_heat_solved([start], 2) == [start]
    # Otter had to move, and flies in the first and the last heat.
    assert asked == [(moves, 3, start.worst) for moves in (2, 1, 1, 2)]
    monkeypatch.setattr(one, "_heat", lambda _members: Solved(start.channel[[0, 2]]))
    monkeypatch.setattr(one.search, "worst_heat", lambda _placed: 2)
    beam = one._with_worst_heat_solved([start], 2)
    assert len(beam) == 2
    assert beam[0].key <= beam[1].key


def test_a_heat_is_made_ready_once(monkeypatch):
    one = usual()
    made = []
    whole = changes.heat_moves
    monkeypatch.setattr(changes, "heat_moves", lambda *given: made.append(given[4]) or whole(*given))
    first = one._heat((0, 1))
    assert one._heat((0, 1)) is first
    assert isinstance(first, HeatMoves)
    one._heat((0, 2))
    assert made == [20_000, 20_000]


class TestRow:
    """The bound beside a row: of the exact answer where there is one, of the heat however many move otherwise."""

    def found(self, monkeypatch, exact_db, least_db, is_exact):
        one = usual()
        start = one.search.start()
        worst_db = float(-10 * np.log10(start.worst))

        class Solved:
            load = load(worst_db + exact_db)

            def best(self, *_given):
                return self

            def least_load(self):
                return load(worst_db + least_db)

        Solved.is_exact = is_exact
        monkeypatch.setattr(one, "_heat", lambda _members: Solved())
        made = one._row(start, 0)
        assert made.worst_margin_db == pytest.approx(worst_db)
        return pytest.approx(made.bound_db - worst_db, abs=1e-9), made.is_proved, one._is_end(start)

    @pytest.mark.parametrize(
        ("exact_db", "least_db", "is_exact", "bound_db", "is_proved", "is_end"),
        [
            (0.0, 3.0, True, 0.0, True, False),
            (0.004, 3.0, True, 0.004, True, False),
            (0.006, 3.0, True, 0.006, False, False),
            (1.0, 3.0, False, 3.0, False, False),
            (1.0, 0.04, False, 0.04, False, True),
            (-1.0, 0.06, True, 0.0, True, False),  # never below what was found
        ],
    )
    def test_it_is_proved_within_a_two_hundredth_and_ends_within_a_twentieth(
        self, monkeypatch, exact_db, least_db, is_exact, bound_db, is_proved, is_end
    ):
        assert self.found(monkeypatch, exact_db, least_db, is_exact) == (bound_db, is_proved, is_end)

    def test_at_the_bound_itself_it_is_proved_without_any_slack(self, monkeypatch):
        monkeypatch.setattr(changes, "PROOF_TIE_DB", 0.0)
        assert self.found(monkeypatch, -1.0, 3.0, True)[1]


def test_what_a_newcomer_leaves_stays_proved_only_without_a_lost_transmitter():
    rest = rest_of(WREN, OTTER, ROOK, QUILL)
    assert [one.proved for one in trade_offs(rest).rows[0].heats] == [True] * 4
    unproved = tuple(replace(one, proved=False) for one in rest.heats)
    assert [one.proved for one in trade_offs(replace(rest, heats=unproved)).rows[0].heats] == [False] * 4
    down = replace(rest, down=(Down("Lost", 5917, 25.0),))
    assert [one.proved for one in trade_offs(down).rows[0].heats] == [False] * 4


def test_steps_count_from_one_and_are_told_with_their_stage():
    told = []
    one = changes_of(rest_of(WREN, OTTER, ROOK, QUILL), lambda progress: told.append(progress) or True)
    one.stage = "a stage"
    one._step()
    assert one._go_on("another", 0, None) is True
    assert [(progress.stage, progress.nodes, progress.best_margin_db) for progress in told] == [
        ("a stage", 1, None),
        ("a stage", 2, None),
    ]
