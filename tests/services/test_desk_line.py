"""The desk's one line: what each word means, and what is said about a word that means nothing."""

import pytest

from server.radio.errors import TuningError
from server.services.desk_line import LONGEST_LINE, read_line
from server.services.gear import read_setup
from server.services.gear_echo import channels_meaning, gear_meanings, power_meaning
from server.services.gear_words import antenna_word, channel_words, power_words

ROSTER = {
    "wren": {"tunes": "R", "receives": "R1-R4", "power_mw": "25 200", "antenna": "lhcp"},
    "big bird": {"tunes": "F4", "power_mw": "25"},
}


def line(text, latest=None):
    return read_line(text, lambda callsign: ROSTER.get(callsign.casefold()), latest)


def typed(text, latest=None):
    read = line(text, latest)
    assert read.faults == ()
    return {name: value for name, value in read.typed.items() if value}


def fault(text):
    (only,) = line(text).faults
    return f"{only.problem}: {only.cure}"


def test_a_blank_after_the_equals_sign_means_the_same():
    assert typed("Otter = Wren") == typed("Otter =Wren")
    assert typed('Otter = "big bird" 100') == typed('Otter ="big bird" 100')


def test_after_a_blank_a_word_for_gear_stays_gear():
    gear = {"r": {"tunes": "F4", "power_mw": "25"}, **ROSTER}
    read = read_line("Otter = R", gear.get, "wren")
    assert (read.typed["tunes"], read.typed["power_mw"], read.faults) == ("R", "25 200", ())


USUAL = {"callsign": "Wren", "tunes": "A B E F R", "power_mw": "25 200 600", "antenna": "rhcp"}


@pytest.mark.parametrize(
    "text",
    [
        "Wren ABEFR 25,200,600 r",
        "Wren abefr 25,200,600 R",  # any case
        "Wren all 25 200 600 r",
        "Wren A B E F R 25 200 600 r",
        "Wren, A,B,E,F,R, 25/200/600, rhcp",
        "Wren rhcp ABEFR 25mW 200 mW 0.6W",  # units, antenna anywhere as a word
        '"Wren" all 25,200,600 right',
        "  Wren\tall  25,200,600  rh ",
    ],
)
def test_a_usual_pilot_in_every_spelling(text):
    assert typed(text) == USUAL


@pytest.mark.parametrize(
    "text",
    [
        "Wren ABEFR 25,200,600 r",
        "Juniper all 25,200,600 r",
        "Saffron ronly 25,200 l",
        "Otter =Wren",
        "Umber elocked 25",
    ],
)
def test_a_usual_pilot_takes_at_most_thirty_keystrokes(text):
    held_shift = sum(char.isupper() or char in '"?:' for char in text)
    enter = 1
    assert len(text) + held_shift + enter <= 30
    assert line(text).faults == ()


@pytest.mark.parametrize(
    ("word", "tunes"),
    [
        ("all", "A B E F R"),
        ("ronly", "R"),
        ("elocked", "E1-E3 E5 E6"),
        ("ABEFR elocked", "A B F R E1-E3 E5 E6"),  # the lock takes the rest of band E away
        ("one R3", "R3"),
        ("R3", "R3"),
        ("5:3", "5:3"),  # kept as the pilot says it
        ("5800", "5800"),
        ("5800 MHz", "5800"),
        ("R1-R8 F2,F4", "R1-R8 F2 F4"),
        ("ab", "A B"),
        ("R", "R"),
        ("L", "L"),
        ("?", "?"),
    ],
)
def test_channels(word, tunes):
    assert typed(f"Wren {word} 25")["tunes"] == tunes


@pytest.mark.parametrize(
    ("words", "power_mw", "antenna"),
    [
        ("R 25 r", "25", "rhcp"),  # after the power a lone letter is the antenna
        ("R 25 l", "25", "lhcp"),
        ("R 25 x", "25", "linear"),
        ("R linear", "?", "linear"),  # nothing typed about the power: nobody knows
        ("R 1W", "1000", None),
        ("R ?", "?", None),
        ("? 200", "200", None),
        ("R 25 ?", "25 ?", None),  # 25 and perhaps more
        ("R 5000", "5000", None),  # above this a bare number is a carrier
    ],
)
def test_power_and_antenna(words, power_mw, antenna):
    read = typed(f"Wren {words}")
    assert (read["power_mw"], read.get("antenna")) == (power_mw, antenna)


def test_one_question_mark_means_that_nothing_is_known():
    assert typed("Wren ?") == {"callsign": "Wren", "tunes": "?", "power_mw": "?"}
    assert typed("Wren ? ?") == typed("Wren ?")


@pytest.mark.parametrize("text", ["Otter =Wren", "Otter =wren", 'Otter ="wren"', "Otter ="])
def test_the_same_gear_as_another(text):
    assert typed(text, latest="Wren") == {"callsign": "Otter", **ROSTER["wren"]}


def test_what_is_typed_wins_over_what_is_copied():
    assert typed("Otter =Wren 600 rhcp")["power_mw"] == "600"
    assert typed("Otter =Wren 600 rhcp")["antenna"] == "rhcp"
    assert typed("Otter ABF =Wren")["tunes"] == "A B F"


def test_a_question_mark_after_a_copied_pilot_is_the_power():
    assert typed("Otter =Wren ?")["power_mw"] == "?"
    assert typed("Otter =Wren ?")["tunes"] == "R"


def test_fields_by_name():
    read = typed('Zed R 25 rx:abef s:Wren note:"leaves at three" pin:R3 pit:5mW id:XY1ABC')
    assert read["receives"] == "A B E F"
    assert read["spotter"] == "Wren"
    assert read["note"] == "leaves at three"
    assert read["pin"] == "R3"
    assert read["pit_power_mw"] == "5"
    assert read["station_id"] == "XY1ABC"


@pytest.mark.parametrize("text", ['"Big Bird" R 25', "“Big Bird” R 25", '"Big  Bird" R 25'])
def test_two_words_in_quotes_are_one_callsign(text):
    assert typed(text)["callsign"] == "Big Bird"


def test_a_word_for_gear_in_quotes_is_a_callsign():
    assert typed('"All" R 25')["callsign"] == "All"


def test_a_quote_still_open_while_typing_ends_with_the_line():
    assert line('"Big Bi').typed["callsign"] == "Big Bi"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "nothing is typed: write a line such as Wren ABEFR 25,200,600 r"),
        (' " ', "nothing is typed"),
        ("Wren", "the channels are missing: write them before the power, or ? where nobody knows"),
        ("Wren 25 R", "the channels are missing"),  # R after the power is the antenna
        ("all 25", "“all” is a word for gear: write the callsign before it"),
        ("=Wren", "“=Wren” is a word for gear"),
        ("Wren R9 25", "“R9” names a channel that band R does not have: write R1 to R8"),
        ("Wren Q 25", "“Q” names band Q, which is not in the table"),
        ("Big Bird R 25", 'if the callsign is Big Bird, write "Big Bird" in quotes; if not, '),
        ("Wren R 25 foo:1", "“foo:1” names no field: before a colon stand rx"),
        ("Otter =Ghost", "nobody on the roster is called Ghost: write = and a callsign of the roster"),
        ("Otter =", "nobody came before"),
        ("Wren 6:9 25", "names a channel that band L does not have"),
        ("Wren R4-R1 25", "“R4-R1” runs backwards: write R1-R4"),
    ],
)
def test_a_word_that_means_nothing_is_named_with_its_cure(text, says):
    assert says in fault(text)


def test_only_behind_the_callsign_can_a_word_belong_to_it():
    assert "in quotes" not in fault("Wren R 25 Bird")


def test_a_long_line_is_refused_before_it_is_read():
    assert f"a line of {LONGEST_LINE + 1} characters is too long" in fault("x" * (LONGEST_LINE + 1))


def test_what_is_understood_stays_beside_what_is_not():
    read = line("Wren ABEFR R9 25 l")
    assert read.typed["tunes"] == "A B E F R"
    assert read.typed["antenna"] == "lhcp"
    assert len(read.faults) == 1


@pytest.mark.parametrize(
    ("tunes", "words"),
    [
        ("A B E F R", "bands A B E F R, 40 channels"),
        ("R", "band R, 8 channels"),
        ("5:3", "R3 5732 MHz on push-button gear 5:3"),
        ("F4", "F4 5800 MHz"),
        ("5800", "5800 MHz, which is F4"),
        ("5801", "5801 MHz, in no table"),
        ("A R1-R4", "band A, 8 channels; R1-R4, 5658 to 5769 MHz"),
        ("R1 R2 R3 R4 R5", "5 channels from 5658 to 5806 MHz"),
        ("A R1 R2 R3 R4 R5", "band A, 8 channels; 5 channels from 5658 to 5806 MHz"),
    ],
)
def test_the_echo_says_what_channels_mean(tunes, words):
    assert channels_meaning(tunes).words == words


def test_the_echo_says_what_is_taken_for_what_nobody_knows():
    """The same as the reader of set-ups takes."""
    channels, power, _ = gear_meanings({"tunes": "?", "power_mw": "?"})
    assumed = dict(read_setup({"tunes": "?", "power_mw": "?"}, "Wren").assumed)
    assert channels.is_assumed
    assert power.is_assumed
    assert assumed["tunes"] in channels.words
    assert f"{assumed['power_mw']} mW" in power.words


def test_the_echo_of_goggles_and_antennas_appears_where_they_differ():
    same = [one.words for one in gear_meanings({"tunes": "R", "power_mw": "25", "antenna": "lhcp"})]
    assert same == ["band R, 8 channels", "25 mW", "left-hand antenna"]
    other = gear_meanings({"tunes": "R", "receives": "R1", "antenna": "lhcp", "rx_antenna": "linear"})
    assert [one.words for one in other] == [
        "band R, 8 channels",
        "goggles R1 5658 MHz",
        "25 mW",
        "left-hand antenna, goggles linear",
    ]


def test_the_echo_of_a_wrong_list_raises():
    with pytest.raises(TuningError):
        channels_meaning("Q7")


def test_power_known_in_part():
    assert power_meaning("25 ?").words == "power not known: 25 mW taken"
    assert power_meaning("25 ?").is_assumed


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("All bands", "A B E F R"),
        ("R only", "R"),
        ("E, locked", "E1-E3 E5 E6"),
        ("ABEFR", "A B E F R"),
        ("a, b; f", "A B F"),
        ("r1-r8 5800mhz 5:3", "R1-R8 5800 5:3"),
        ("Don't know", "?"),
        ("don\N{RIGHT SINGLE QUOTATION MARK}t know", "?"),
        ("not sure", "?"),
        ("", ""),
        ("Everything", "Everything"),  # as typed, for the reader of the set-up to refuse
    ],
)
def test_channels_in_the_words_of_a_sign_up_form(text, kept):
    assert channel_words(text) == kept


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("25 mW, 200 mW", "25 200"),
        ("25/200/600mw", "25 200 600"),
        ("1 W", "1000"),
        ("unknown", "?"),
        ("much", "much"),
    ],
)
def test_power_in_the_words_of_a_sign_up_form(text, kept):
    assert power_words(text) == kept


@pytest.mark.parametrize(
    ("text", "kept"),
    [("Right hand", "rhcp"), ("LHCP", "lhcp"), ("x", "linear"), ("Lin", "linear"), ("bent", "bent")],
)
def test_antennas_in_the_words_of_a_sign_up_form(text, kept):
    assert antenna_word(text) == kept
