"""A move on trial says what the move itself then brings, and changes nothing."""

from dataclasses import replace

import pytest

from server.allocator.rest import Down
from server.services import edits
from server.services.errors import InputError
from server.services.standings import standing
from server.services.trials import steps_mhz, trial
from tests.services.planned_days import day_with_pilots, edit, plan_at_once


@pytest.fixture
def day(session):
    """Wren R1, Otter R2 and Rook R3 in heat 1; Wren on R1 beside Quill in heat 2."""
    day = day_with_pilots(session, "Wren", "Otter", "Rook", "Quill", aircraft=3)
    plan_at_once(session, day)
    edit(session, day, lambda content, basis: edits.put_in(content, basis, "Wren", 2))
    return day


def ids(session, day):
    return standing(session, day).draft.basis.ids()


def tried(session, day, callsign, mhz, heat=1):
    draft = standing(session, day).draft
    return trial(draft.content, draft.basis, heat, draft.basis.ids()[callsign], mhz)


def test_brings_what_the_kept_move_brings(session, day):
    before = standing(session, day).draft.snapshot["heats"]
    on_trial = tried(session, day, "Wren", 5880)
    assert standing(session, day).draft.snapshot["heats"] == before
    wren = ids(session, day)["Wren"]
    edit(session, day, lambda content, basis: edits.tune(content, basis, wren, 5880))
    kept = standing(session, day).draft.snapshot["heats"]
    assert on_trial.after == kept[0]
    assert on_trial.before["slots"] == before[0]["slots"]
    assert on_trial.elsewhere == (2,)
    assert on_trial.elsewhere_worst_db == kept[1]["worst_margin_db"]
    for was, now in zip(before[0]["slots"], kept[0]["slots"], strict=True):
        difference = now["margin_db"] - was["margin_db"]
        assert on_trial.changes_db[now["pilot_id"]] == pytest.approx(difference)
    worst = kept[0]["worst_margin_db"] - before[0]["worst_margin_db"]
    assert on_trial.worst_change_db == pytest.approx(worst)


def test_names_the_channels_and_who_is_too_close(session, day):
    on_trial = tried(session, day, "Wren", 5705)
    assert (on_trial.callsign, on_trial.was, on_trial.now) == ("Wren", "R1 5658", "E1 5705")
    assert on_trial.too_close == (("Otter", 10),)


def test_twenty_megahertz_is_far_enough(session, day):
    assert tried(session, day, "Rook", 5800).too_close == ()


def test_a_channel_that_the_gear_has_not_is_refused(session, day):
    with pytest.raises(InputError, match="Wren cannot use 5659 MHz today"):
        tried(session, day, "Wren", 5659)


@pytest.mark.parametrize("heat", [2, 9])
def test_somebody_who_does_not_fly_there_is_refused(session, day, heat):
    with pytest.raises(InputError, match=f"does not fly in heat {heat}"):
        tried(session, day, "Otter", 5880, heat)


def test_flown_heats_stay_as_they_are(session, day):
    draft = standing(session, day).draft
    flown = replace(draft.basis, flown=1)
    wren = draft.basis.ids()["Wren"]
    with pytest.raises(InputError, match="Heat 1 has been flown and stays as published"):
        trial(draft.content, flown, 1, wren, 5880)
    assert trial(draft.content, flown, 2, wren, 5880).elsewhere == ()


def test_a_transmitter_that_is_still_on_counts_in_every_heat(session, day):
    draft = standing(session, day).draft
    wren = draft.basis.ids()["Wren"]
    lost = replace(draft.basis, down=(Down("Umber", 5890, 25.0),))
    beside_it = trial(draft.content, lost, 1, wren, 5880)
    without = trial(draft.content, draft.basis, 1, wren, 5880)
    assert beside_it.after["worst_margin_db"] < without.after["worst_margin_db"] - 20
    assert beside_it.elsewhere_worst_db < without.elsewhere_worst_db - 20


def test_steps_leave_out_what_is_banned(session, day):
    draft = standing(session, day).draft
    wren = draft.basis.pilots[ids(session, day)["Wren"]]
    steps = steps_mhz(wren, draft.basis.problem)
    assert steps == tuple(sorted(wren.channels_mhz))
    day.settings_json = '{"bans": [5880]}'
    banned = standing(session, day).draft.basis.problem
    assert 5880 in steps
    assert set(steps) - set(steps_mhz(wren, banned)) == {5880}
