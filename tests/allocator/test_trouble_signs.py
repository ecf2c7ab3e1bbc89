"""The tables of symptoms: chances are whole, and say what their words say."""

import itertools

import pytest

from server.allocator.trouble_signs import (
    _MOVING,
    _STILL,
    ANOTHER,
    BLACK,
    FLICKER,
    LINES,
    SNOW,
    SYMPTOMS,
    Effect,
    noticed,
    points_at,
    seen_as,
    sets_in,
    told_too,
)

CHARACTERS = ("picture", "beat", "noise", "off tune")


def effect(alone_db=-15.0, character="beat", moves=False, usual_db=5.0):
    return Effect(alone_db, usual_db, alone_db, character, moves)


@pytest.mark.parametrize(
    ("character", "alone_db", "moves"),
    [
        one
        for one in itertools.product(CHARACTERS, (-40, -15, -3), (False, True))
        if not (one[2] and one[0] in ("noise", "off tune"))
    ],
)
def test_every_cause_is_told_in_one_of_the_five_ways(character, alone_db, moves):
    told = [seen_as(symptom, effect(alone_db, character, moves)) for symptom in SYMPTOMS]
    assert sum(told) == pytest.approx(1)
    assert min(told) > 0


def test_the_likeliest_word_for_each_character():
    assert max(SYMPTOMS, key=lambda one: seen_as(one, effect(-40, "picture"))) == ANOTHER
    assert max(SYMPTOMS, key=lambda one: seen_as(one, effect(-15, "beat"))) == LINES
    assert max(SYMPTOMS, key=lambda one: seen_as(one, effect(-15, "noise"))) == SNOW
    assert max(SYMPTOMS, key=lambda one: seen_as(one, effect(-15, "off tune"))) == SNOW


@pytest.mark.parametrize(
    ("alone_db", "black"), [(-25.01, 0.25), (-24.99, 0.05), (-8.01, 0.05), (-7.99, 0.01)]
)
def test_strength_changes_at_its_two_margins(alone_db, black):
    assert seen_as(BLACK, effect(alone_db)) == pytest.approx(black)


def test_what_flies_flickers_and_the_less_so_the_longer_it_lasts():
    passing, lasting = effect(moves=True, usual_db=5), effect(moves=True, usual_db=-9)
    assert seen_as(FLICKER, passing) == pytest.approx(0.64 / 1.32)
    assert seen_as(FLICKER, lasting) == pytest.approx(0.16 / 0.84)
    assert seen_as(FLICKER, effect()) < 0.05


def test_half_notice_at_specks_and_nearly_all_a_spoilt_picture():
    assert noticed(-6.0) == pytest.approx(0.5)
    assert noticed(-10.0) == pytest.approx(0.731, abs=0.001)
    assert noticed(5.0) < 0.07
    assert noticed(400.0) < 1e-9


def test_onset_says_nothing_where_nobody_said():
    assert sets_in(None, "pits") == 1
    assert sets_in("suddenly", "pits") == 0.75
    assert sets_in("from the start", "pits") == 0.25
    assert sets_in("from the start", "wrong channel") == 0.8


def test_who_is_near_points_at_those_who_fly():
    assert points_at(None, ("Otter",), True, 5) == 1
    assert points_at("Otter", ("Otter",), True, 5) == 0.8
    assert points_at("Rook", ("Otter",), True, 5) == pytest.approx(0.05)
    assert points_at("Otter", ("Otter", "Rook"), True, 5) == 0.4
    assert points_at("Otter", ("Quill",), False, 5) == 0.2
    assert points_at("Otter", ("Otter",), True, 1) == 1
    assert points_at("Otter", ("Otter",), True, 0) == 1


def test_others_who_see_trouble_half_say_so():
    assert told_too(True, -100) == pytest.approx(0.52)
    assert told_too(False, -100) == pytest.approx(0.48)
    assert told_too(True, 100) == pytest.approx(0.02)


@pytest.mark.parametrize("row", [*_MOVING.values(), *_STILL.values()])
def test_every_row_of_the_tables_is_one_whole(row):
    assert sum(row) == pytest.approx(1)


def test_a_margin_right_at_a_limit_counts_as_the_milder():
    assert seen_as(BLACK, effect(-25.0)) == pytest.approx(0.05)
    assert seen_as(BLACK, effect(-8.0)) == pytest.approx(0.01)
    at_limit, beyond = effect(moves=True, usual_db=-8.0), effect(moves=True, usual_db=-8.01)
    assert seen_as(FLICKER, at_limit) > seen_as(FLICKER, beyond)


@pytest.mark.parametrize(
    ("kind", "chance"),
    [
        ("pits", 0.75),
        ("down", 0.5),
        ("carrier", 0.25),
        ("product", 0.25),
        ("wrong channel", 0.2),
        ("own channel", 0.15),
        ("link", 0.25),
        ("outside", 0.4),
    ],
)
def test_how_often_each_cause_sets_in_all_of_a_sudden(kind, chance):
    assert sets_in("suddenly", kind) == pytest.approx(chance)
    assert sets_in("from the start", kind) == pytest.approx(1 - chance)
