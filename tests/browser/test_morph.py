"""What stays of a page when a part of it becomes new HTML."""

import pytest
from playwright.sync_api import Page

from server import paths


@pytest.fixture
def page(browser_page) -> Page:
    page = browser_page("laptop")
    page.set_content("<main></main>")
    page.add_script_tag(content=(paths.STATIC / "js/morph.js").read_text())
    return page


def morph(page: Page, *states: str) -> None:
    """Show the states one after another."""
    for html in states:
        page.evaluate("(html) => morph(document.querySelector('main'), html)", html)


def shown(page: Page) -> str:
    return page.locator("main").inner_html()


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("", "<p>one</p>"),
        ("<p>one</p>", ""),
        ("<p>one</p><p>two</p>", "<p>two</p>"),
        ('<p id="a">a</p><p id="b">b</p>', '<p id="b">b</p><p id="a">a</p>'),
        ("<ul><li>1</li><li>2</li></ul>", "<ul><li>0</li><li>1</li><li>2</li></ul>text<b>x</b>"),
        ('<p class="a" title="t">x</p>', '<p class="b" lang="en">x</p>'),
        ("<table><tbody><tr><td>1</td></tr></tbody></table>", "<p>No table</p>"),
    ],
)
def test_the_page_becomes_the_new_html(page, before, after):
    morph(page, before, after)
    assert shown(page) == after


ROW = '<tr id="row-{0}"><td>{0}</td><td><form><button>{1}</button></form></td></tr>'


def test_focus_stays_in_its_row_when_rows_come_and_go_before_it(page):
    wren, otter, rook = (ROW.format(name, "Landed") for name in ("Wren", "Otter", "Rook"))
    morph(page, f"<table><tbody>{wren}{otter}</tbody></table>")
    page.locator("#row-Otter button").focus()
    notice = '<div class="notice">Walkers on the field</div>'
    morph(
        page, f"{notice}<table><tbody>{rook}{otter}</tbody></table>", f"<table><tbody>{otter}</tbody></table>"
    )
    assert page.evaluate("document.activeElement.closest('tr').id") == "row-Otter"


def test_a_card_put_before_another_takes_nothing_from_it(page):
    card = '<section class="card"><h2>{}</h2><input id="{}"></section>'
    morph(page, card.format("Ask", "ask"))
    page.locator("#ask").fill("typed")
    morph(page, card.format("News", "news") + card.format("Ask", "ask"))
    assert page.locator("#ask").input_value() == "typed"
    assert page.evaluate("document.activeElement.id") == "ask"


def test_what_was_opened_chosen_and_ticked_stays(page):
    html = """<p>{}</p><details><summary>More</summary><select><option>a</option><option>b</option></select>
        <input type="checkbox"></details>"""
    morph(page, html.format(1))
    page.locator("summary").click()
    page.locator("select").select_option("b")
    page.locator("input").check()
    morph(page, html.format(2))
    assert page.locator("p").text_content() == "2"
    assert page.locator("select").input_value() == "b"
    assert page.locator("input").is_checked()


def test_what_a_form_repeats_is_what_is_shown_now(page):
    html = '<form><input type="hidden" name="seen" value="{}"><button>Off</button></form>'
    morph(page, html.format(1), html.format(2))
    assert page.locator("input").input_value() == "2"


def test_a_size_that_a_script_has_fitted_stays(page):
    morph(page, '<p id="name">Wren</p>')
    page.evaluate("document.getElementById('name').style.fontSize = '9px'")
    morph(page, '<p id="name">Otter</p>')
    assert page.evaluate("document.getElementById('name').style.fontSize") == "9px"
