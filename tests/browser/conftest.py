"""Browser tests need Chromium from the system. Without it they are skipped, except where they must run."""

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Page, sync_playwright

from tests.browser.field_server import HOST, FieldServer
from tests.browser.screens import Field, sign_in

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")

SCREENS = {
    "phone": {
        "viewport": {"width": 390, "height": 844},
        "device_scale_factor": 3,
        "is_mobile": True,
        "has_touch": True,
    },
    "laptop": {"viewport": {"width": 1366, "height": 768}},
    "big screen": {"viewport": {"width": 1920, "height": 1080}},
}

# What a page may say on its console: a server that is gone, an address that answers 404 or 410.
_EXPECTED_WORDS = ("net::ERR_", "Failed to load resource", "Failed to fetch")


@pytest.fixture(scope="session", autouse=True)
def _chromium() -> None:
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine: install the package chromium to run the browser tests")


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    """Not for the whole session: while it is open no other test of the process can run an event loop."""
    with sync_playwright() as playwright:
        arguments = ["--no-sandbox", f"--host-resolver-rules=MAP {HOST} 127.0.0.1"]
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=arguments)
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def one_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FieldServer]:
    """A server for all tests of a file, which tell it what to announce. A test may kill it."""
    server = FieldServer(tmp_path_factory.mktemp("field"), "tests.browser.announcing_server").start()
    yield server
    server.stop()


@pytest.fixture(scope="module")
def field(one_server: FieldServer) -> Iterator[Field]:
    """The same server with the demonstration day on it, and the director's sign-in."""
    field = Field(one_server)
    yield field
    field.database.close()


@pytest.fixture
def browser_page(browser: Browser) -> Iterator[Callable[[str], Page]]:
    """`browser_page("phone")` is a page in a browser of its own; errors on its console fail the test."""
    contexts, faults = [], []

    def note(message: ConsoleMessage) -> None:
        if message.type == "error" and not any(words in message.text for words in _EXPECTED_WORDS):
            faults.append(message.text)

    def open_page(screen: str) -> Page:
        context = browser.new_context(**SCREENS[screen])
        contexts.append(context)
        page = context.new_page()
        page.on("console", note)
        page.on("pageerror", lambda error: faults.append(str(error)))
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert faults == []


@pytest.fixture
def server(tmp_path: Path) -> Iterator[FieldServer]:
    """Bandstand as it is started by people, on an empty data folder; `server.said` holds the pass phrase."""
    server = FieldServer(tmp_path, "server.cli", "run").start()
    yield server
    server.stop()


@pytest.fixture
def signed_in_page(field: Field, browser_page: Callable[[str], Page]) -> Page:
    """The director's laptop, in the light look."""
    page = browser_page("laptop")
    sign_in(page, field.address)
    return page
