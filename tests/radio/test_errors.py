import pytest

from server.radio.errors import RadioError, RuleError, SiteError, TuningError


def test_an_error_carries_the_value_what_is_wrong_and_what_would_be_right():
    error = RadioError("R9", "band R has no channel 9", "write R1 to R8")
    assert (error.value, error.problem, error.cure) == ("R9", "band R has no channel 9", "write R1 to R8")
    assert str(error) == "band R has no channel 9: write R1 to R8"


def test_a_tuning_error_names_the_word():
    error = TuningError("R9", "band R has no channel 9", "write R1 to R8")
    assert (error.word, error.value) == ("R9", "R9")


def test_a_site_error_names_the_parameter_and_its_value():
    error = SiteError("near_m", -1, "give a number from 0.5 to 1000 m")
    assert (error.name, error.value) == ("near_m", -1)
    assert error.problem == "near_m cannot be -1"


@pytest.mark.parametrize("kind", [TuningError, SiteError, RuleError])
def test_all_errors_of_the_radio_model_are_one_family_of_value_errors(kind):
    assert issubclass(kind, RadioError)
    assert issubclass(RadioError, ValueError)
