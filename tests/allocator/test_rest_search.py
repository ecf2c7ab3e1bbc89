"""Local search over the heats ahead: what a state says of itself, and which are tried."""

import numpy as np
import pytest

from server.allocator.few_moves import HeatMoves
from server.allocator.moves_core import BROKEN, heat_load
from server.allocator.rest import Down, frame_of_rest
from server.allocator.rest_search import RestSearch
from server.allocator.scoring import gear_of
from tests.allocator.test_rest import OTTER, QUILL, ROOK, WREN, heat, pilot, rest_of


def search_of(rest, step=lambda: None):
    return RestSearch(rest.problem, frame_of_rest(rest), len(rest.down), step)


def mhz_of(search, placed):
    return search.gear.mhz[placed.channel].tolist()


class TestStates:
    def test_the_start_keeps_everybody_who_can_stay(self):
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL))
        start = search.start()
        assert mhz_of(search, start) == [5658, 5695, 5732, 5769]
        assert search.moved(start) == []
        assert search.forced == 0

    def test_who_must_move_is_counted_and_a_newcomer_is_not(self):
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late"), bans_mhz=(5695,)))
        start = search.start()
        assert search.forced == 1
        assert search.moved(start) == [1]
        assert search.forced_outside(search.members(start, 1)) == 1
        assert search.forced_outside(search.members(start, 0)) == 0
        assert search.moved_outside(start, search.members(start, 1)) == 1
        assert search.moved_outside(start, search.members(start, 0)) == 0

    def test_members_are_pilots_then_newcomers_then_what_is_down(self):
        lost = (Down("Lost", 5917, 25.0),)
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late"), down=lost))
        start = search.start()
        joined = start.seats[0]
        assert search.members(start, joined)[-2:] == (4, 5)
        assert all(search.members(start, number)[-1] == 5 for number in range(4))

    def test_loads_are_those_of_the_heats(self):
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL))
        start = search.start()
        for number in range(4):
            rows = np.array(search.members(start, number), dtype=np.int64)
            assert start.loads[number] == heat_load(search.gear, rows, start.channel)
        assert start.worst == start.loads.max()
        assert start.loads[search.worst_heat(start)] == start.worst

    def test_broken_pairs_come_before_any_margin(self):
        twins = [pilot(name, 5658, channels_mhz=(5658,)) for name in ("Wren", "Otter")]
        rest = rest_of(*twins, ROOK, QUILL, heats=(heat(1, 1, *twins), heat(2, 1, ROOK, QUILL)), rounds=1)
        search = search_of(rest)
        start = search.start()
        assert start.key[0] == 1.0
        assert start.worst >= BROKEN
        assert search.broken_heats(start) == (1,)

    def test_the_key_is_in_db_the_worst_heat_first(self):
        start = search_of(rest_of(WREN, OTTER, ROOK, QUILL)).start()
        in_db = sorted((10 * np.log10(start.loads)).tolist(), reverse=True)
        assert start.key == pytest.approx((0.0, *in_db), abs=1e-6)

    def test_other_channels_for_some_keep_the_seats(self):
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late")))
        start = search.start()
        changed = search.with_channels(start, (0, 1), np.array([3, 4]))
        assert changed.channel[:2].tolist() == [3, 4]
        assert changed.channel[2:].tolist() == start.channel[2:].tolist()
        assert changed.seats == start.seats
        assert search.moved(changed) == [0, 1]


class TestOneMore:
    def crowded(self):
        crew = [pilot(f"P{x}", 5658 + 37 * x) for x in range(4)]
        return search_of(rest_of(*crew, heats=(heat(1, 1, *crew),), rounds=1, aircraft=4))

    def test_one_more_moves_at_most_one_more_and_is_no_worse(self):
        search = self.crowded()
        beam = [search.start()]
        for moved in range(1, 4):
            beam = search.one_more(beam, moved)
            assert len(search.moved(beam[0])) <= moved
            assert [one.key for one in beam] == sorted(one.key for one in beam)
        assert beam[0].worst < search.start().worst

    def test_one_move_in_a_heat_alone_is_the_best_one_move(self):
        search = self.crowded()
        start = search.start()
        found = search.one_more([start], 1)[0]
        gear = gear_of(search.gear, range(4))
        exact = HeatMoves(gear, search.stay, search.is_set, 1000, lambda *_told: True).best(1, 1)
        assert found.worst == pytest.approx(exact.load)

    def test_no_move_is_left_over_its_limit(self):
        search = self.crowded()
        beam = search.one_more([search.start()], 1)
        again = search.one_more(beam, 1)
        assert all(len(search.moved(one)) <= 1 for one in again)

    def test_a_search_tells_of_every_step(self):
        steps = []
        search = search_of(rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late")), lambda: steps.append(1))
        search.start()
        assert steps


class TestSeats:
    def test_nobody_sits_in_a_full_heat(self):
        crew = (WREN, OTTER, ROOK, QUILL)
        search = search_of(rest_of(*crew, *(pilot(f"L{x}") for x in range(2))))
        start = search.start()
        sizes = [len(search.members(start, number)) for number in range(4)]
        assert sizes == [3, 3, 3, 3]

    def test_a_newcomer_set_already_keeps_the_channel_until_a_move_is_spent(self):
        rest = rest_of(WREN, OTTER, ROOK, QUILL, pilot("Late", 5695))
        search = search_of(rest)
        start = search.start()
        assert search.gear.mhz[start.channel[4]] == 5695
        assert search.moved(start) == []
