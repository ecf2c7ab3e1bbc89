"""When a form counts as overtaken, and what its two versions are."""

from datetime import UTC, datetime

import pytest

from server.services.stale_forms import Field, Form, LastChange, Saved, StaleFormError, check_fresh

SHOWN = {"near": "8", "wind": ""}


def saved(version=None, last=None, **texts):
    fields = {"near": Field("Near"), "wind": Field("Wind", {"": "calm", "n": "north"})}
    return Saved("the site", {**SHOWN, **texts}, fields, version, lambda: last)


def refused(form, found):
    with pytest.raises(StaleFormError) as error:
        check_fresh(form, found)
    return error.value


@pytest.mark.parametrize(
    ("form", "found"),
    [
        (Form({"near": "9", "wind": ""}, SHOWN), saved()),  # nobody else saved
        (Form({"near": "9", "wind": ""}, SHOWN), saved(near="9")),  # both changed it alike
        (Form({"near": "9"}, {"near": "8"}), saved()),  # the form shows a part of it
        (Form({"near": "9", "wind": ""}, {}), saved(near="10")),  # it does not say what its page showed
        (Form({"near": "9", "wind": ""}, SHOWN, 4), saved(version=4, near="10")),  # of this very version
    ],
)
def test_a_form_that_overwrites_nothing_unseen_is_taken(form, found):
    check_fresh(form, found)


def test_both_versions_say_what_was_typed_and_what_merely_stood_there():
    error = refused(Form({"near": "9", "wind": ""}, SHOWN, 3), saved(version=4, near="10", wind="n"))
    assert error.theirs == {"near": "10", "wind": "n"}
    assert error.merged == {"near": "9", "wind": "n"}
    assert error.version == 4
    rows = [(one.label, one.stands, one.yours, one.is_touched, one.is_typed) for one in error.differences]
    assert rows == [("Near", "10", "9", True, True), ("Wind", "north", "calm", False, False)]


def test_what_only_the_later_one_changed_is_shown_too():
    error = refused(Form({"near": "9", "wind": ""}, SHOWN), saved(wind="n"))
    assert [one.name for one in error.differences] == ["near", "wind"]
    assert error.theirs == {"wind": "n"}


def test_an_empty_text_has_a_word():
    error = refused(Form({"near": "", "wind": ""}, SHOWN), saved(near="10"))
    assert error.differences[0].yours == "nothing"


def test_who_and_when_are_told_by_the_clock_of_the_field_if_known():
    form = Form({"near": "9", "wind": ""}, SHOWN)
    last = LastChange("director", datetime(2026, 5, 16, 12, 5, tzinfo=UTC), "Europe/Berlin")
    told = "Somebody else changed the site since this page was loaded"
    assert str(refused(form, saved(near="10", last=last))).startswith(
        f"{told} (director, 14:05). Look at both"
    )
    assert str(refused(form, saved(near="10"))).startswith(f"{told}. Look at both")
