"""Static files: vendored sums, nothing from elsewhere, contrast of what pilots read."""

import hashlib
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
STATIC = ROOT / "static"
CSS = sorted((STATIC / "css").glob("*.css"))
OWN_TEXT = [*CSS, *sorted((STATIC / "js").glob("*.js"))]

NOTES = (STATIC / "vendor/VERSIONS.md").read_text()
VENDORED = re.findall(r"^\| (\S+) \| [^|]+ \| ([0-9a-f]{64}) \|", NOTES, re.M)

# Foreground and background of what a pilot reads outdoors.
PILOT_PAIRS = [
    ("ink", "paper"),
    ("ink", "paper-sunk"),
    ("ink-quiet", "paper"),
    ("ink-quiet", "paper-sunk"),
    ("ink-quiet", "sheet"),  # input borders
    ("accent", "paper"),  # links and plain buttons
    ("accent", "accent-wash"),  # the same, under the pointer
    ("ink", "sheet"),  # what is typed into a field
    ("on-accent", "accent"),  # the primary button
    ("paper", "ink"),  # a label turned over
    ("white", "black"),  # STAY OFF, DOWN STILL ON
    ("black", "white"),  # READY, LAND, DISARM THEN POWER OFF, ASK THE DIRECTOR
    ("black", "signal"),  # POWER UP
    ("white", "fly"),  # FLY
]


LOOKS = ("variables", "dark", "outdoor")


def variables(look: str = "variables") -> dict[str, str]:
    """Names and values of a look: those of the light one, and what its own sheet sets anew for the whole page."""
    found: dict[str, str] = {}
    for sheet in dict.fromkeys(("variables", look)):
        root = re.search(r":root \{(.*?)\n\}", (STATIC / f"css/{sheet}.css").read_text(), re.S)
        found |= dict(re.findall(r"--([\w-]+):\s*([^;]+);", root[1] if root else ""))
    return found


def relative_luminance(colour: str) -> float:
    """0 black … 1 white. Source: W3C, WCAG 2.2, 2023, definition of relative luminance."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast_ratio(one: str, other: str) -> float:
    """1 … 21. Source: W3C, WCAG 2.2, 2023, definition of contrast ratio."""
    light, dark = sorted((relative_luminance(one), relative_luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_formula_gives_the_published_ends():
    assert contrast_ratio("#ffffff", "#000000") == pytest.approx(21.0)
    assert contrast_ratio("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)


@pytest.mark.parametrize("look", LOOKS)
@pytest.mark.parametrize(("text", "ground"), PILOT_PAIRS)
def test_pilots_read_at_seven_to_one(text, ground, look):
    colours = variables(look)
    assert contrast_ratio(colours[text], colours[ground]) >= 7.0


def test_outdoors_everything_is_black_on_white_and_nothing_is_smaller():
    light, outdoor = variables(), variables("outdoor")
    assert contrast_ratio(outdoor["ink"], outdoor["paper"]) == pytest.approx(21.0)
    assert contrast_ratio(outdoor["ink-quiet"], outdoor["paper"]) == pytest.approx(21.0)
    assert all(outdoor[name] != light[name] for name in ("size-14", "size-16", "size-20", "size-28", "row"))


@pytest.mark.parametrize("look", LOOKS)
def test_a_look_names_nothing_that_the_light_one_lacks(look):
    assert variables(look).keys() == variables().keys()


def test_states_differ_in_lightness_for_every_eye():
    """STAY OFF, FLY and POWER UP stay apart when all hue is gone; LAND and READY differ by their frames."""
    colours = variables()
    assert contrast_ratio(colours["fly"], colours["black"]) >= 2.0
    assert contrast_ratio(colours["signal"], colours["fly"]) >= 4.5
    assert contrast_ratio(colours["signal"], colours["white"]) >= 1.3


def test_no_shade_is_plainly_red_or_green():
    """Tones run from black to white, yellow and blue, which every kind of colour vision keeps apart."""
    for name, colour in [pair for look in LOOKS for pair in variables(look).items()]:
        if not re.fullmatch(r"#[0-9a-f]{6}", colour):
            continue
        red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
        assert red - green < 60, name
        assert green - red < 60 or blue > green, name


@pytest.mark.parametrize(("file", "sum_hex"), VENDORED)
def test_vendored_file_has_the_noted_sum(file, sum_hex):
    assert hashlib.sha256((STATIC / file).read_bytes()).hexdigest() == sum_hex


def test_every_vendored_file_is_noted_with_its_licence():
    present = {p.relative_to(STATIC).as_posix() for d in ("vendor", "fonts") for p in (STATIC / d).iterdir()}
    code = {file for file, _ in VENDORED}
    licences = {f for f in present if f.endswith(".LICENSE.txt")}
    assert present == code | licences | {"vendor/VERSIONS.md"}
    assert all(Path(licence).name in NOTES for licence in licences)


@pytest.mark.parametrize("path", OWN_TEXT, ids=lambda p: p.name)
def test_style_or_script_asks_nothing_from_elsewhere(path):
    assert not re.search(r"https?:|@import|url\(\s*[\"']?//", path.read_text())


@pytest.mark.parametrize("path", CSS, ids=lambda p: p.name)
def test_stylesheet_uses_only_variables_that_exist(path):
    assert set(re.findall(r"var\(--([\w-]+)", path.read_text())) <= set(variables())


@pytest.mark.parametrize("path", CSS, ids=lambda p: p.name)
def test_stylesheet_names_only_files_that_exist(path):
    for name in re.findall(r"url\(\"([^\"]+)\"\)", path.read_text()):
        assert (path.parent / name).resolve().is_file(), name


@pytest.mark.parametrize("path", sorted((STATIC / "js").glob("*.js")), ids=lambda p: p.name)
def test_script_needs_no_evaluation(path):
    """The content security policy refuses eval and its kin."""
    assert not re.search(r"\beval\(|new Function\(|setTimeout\(\s*[\"']", path.read_text())
