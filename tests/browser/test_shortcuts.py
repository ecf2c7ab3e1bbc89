"""The keys of a screen: "?" lists them, and each does what the list says."""

import pytest
from playwright.sync_api import expect

from tests.browser.screens import DIRECTOR, LINE, demo_day, in_trouble, powering_up

NAMED = """() => [...document.querySelectorAll("[aria-keyshortcuts]")]
  .filter((node) => (node.closest("details:not([open])") ?? node).checkVisibility() && !node.disabled)
  .flatMap((node) => node.getAttribute("aria-keyshortcuts").split(" "))"""

# Whatever is pressed is noted and not done, so that every key can be tried on the same page.
NOTE_PRESSES = """() => addEventListener("click", (event) => {
  event.preventDefault();
  event.stopImmediatePropagation();
  window.pressed = event.target.closest("[aria-keyshortcuts]")?.getAttribute("aria-keyshortcuts");
}, true)"""
REACHED = "() => window.pressed ?? document.activeElement.getAttribute('aria-keyshortcuts')"


def shown_as(key: str) -> str:
    return {"Escape": "Esc", "Shift+P": "Shift P"}.get(key, key.upper())


@pytest.mark.parametrize(
    ("prepare", "path"),
    [
        *((demo_day, path) for path in DIRECTOR),
        *((powering_up, path) for path in LINE),
        (powering_up, "/days/{code}/pilots/{pilot}/bench"),
        (in_trouble, "/days/{code}/line"),
    ],
)
def test_the_list_has_every_key_and_every_key_does_what_stands_beside_it(
    field, signed_in_page, prepare, path
):
    page = signed_in_page
    page.goto(field.make(prepare, path)[0])
    page.evaluate("document.activeElement.blur()")
    page.keyboard.press("?")
    expect(page.locator("#shortcuts summary")).to_be_focused()
    expect(page.locator("#shortcuts li").first).to_be_visible()
    keys = page.evaluate(NAMED)
    listed = page.locator("#shortcuts kbd:visible").all_text_contents()
    assert sorted({one for one in listed if one not in ("↑ ↓",)}) == sorted({shown_as(key) for key in keys})
    page.keyboard.press("Escape")
    expect(page.locator("#shortcuts li").first).to_be_hidden()
    page.evaluate(NOTE_PRESSES)
    for key in set(keys) - {"F9", "?"}:
        page.evaluate("() => { window.pressed = null; document.activeElement.blur(); }")
        page.keyboard.press(key)
        assert key in page.evaluate(REACHED).split(), key


def test_no_key_means_two_things_on_one_screen(field, signed_in_page):
    for path in DIRECTOR:
        signed_in_page.goto(field.make(demo_day, path)[0])
        keys = signed_in_page.evaluate(NAMED)
        assert len(keys) == len(set(keys)), path


def test_a_key_is_a_letter_where_somebody_types(field, signed_in_page):
    signed_in_page.goto(field.make(demo_day, "/days/{code}/check-in")[0])
    expect(signed_in_page.locator("#line")).to_be_focused()
    signed_in_page.keyboard.type("n/?")
    expect(signed_in_page.locator("#line")).to_have_value("n/?")
    expect(signed_in_page.locator("#shortcuts li")).to_have_count(0)


def test_a_key_unfolds_what_its_field_is_folded_into(field, signed_in_page):
    signed_in_page.goto(field.make(demo_day, "/days/{code}/plan")[0])
    signed_in_page.keyboard.press("o")
    expect(signed_in_page.get_by_label("Something else is on the air")).to_be_focused()
