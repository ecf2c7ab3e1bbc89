"""Words of the radio model, with what a catalogue needs to say them in another language."""

from server.radio.said import said


def test_it_is_the_english_text() -> None:
    assert (
        said("%(mhz)s MHz reaches to %(high)s MHz", mhz=5658, high=5663.5) == "5658 MHz reaches to 5663.5 MHz"
    )
    assert said("clean") == "clean"


def test_a_float_has_no_more_places_than_it_needs() -> None:
    assert said("%(limit)s mW", limit=25.0) == "25 mW"


def test_a_per_cent_sign_stays_where_nothing_is_filled_in() -> None:
    assert said("holds 99 % of it") == "holds 99 % of it"
    assert said("%(share)s %% of it", share=50) == "50 % of it"


def test_it_keeps_template_and_values() -> None:
    text = said("%(limit)s mW", limit=25.0)
    assert (text.template, dict(text.values)) == ("%(limit)s mW", {"limit": 25.0})
    assert (said("clean").template, dict(said("clean").values)) == ("clean", {})
