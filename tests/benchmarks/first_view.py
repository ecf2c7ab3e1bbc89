"""How soon a slow phone shows a page it has never seen, and what that costs on the wire.

python3 -m server dev tests.benchmarks.first_view [--times N]

The processor is slowed 4 times, the network gives 1.6 Mbit/s and each answer begins 150 ms late: a slow phone at
the edge of a field's Wi-Fi (common practice, no source). The server runs on the same machine, unslowed.
"""

import argparse
import statistics
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

from tests.browser.conftest import CHROMIUM, SCREENS
from tests.browser.field_server import HOST, FieldServer
from tests.browser.screens import Field, demo_day

PATHS = ("/board/{code}", "/slot/{token}")
SLOWER = 4
NETWORK = {"offline": False, "latency": 150, "downloadThroughput": 200_000, "uploadThroughput": 200_000}
BUDGET_S = 1.5
FIRST_VIEW = """() => new Promise((done) => {
  const painted = () => performance.getEntriesByName("first-contentful-paint")[0]?.startTime;
  const isLive = () => document.body.dataset.state === "live";
  const isUsable = () => painted() && isLive() && document.fonts.status === "loaded";
  const look = () => isUsable() ? done([painted(), performance.now()]) : setTimeout(look, 5);
  look();
})"""


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--times", type=int, default=5)
    times = parser.parse_args().times
    with running() as (browser, field):
        for path in PATHS:
            address = field.make(demo_day, path)[0]
            views = [first_view(browser, address) for _ in range(times)]
            painted, usable = ([round(view[i] / 1000, 2) for view in views] for i in (0, 1))
            print(f"{path}: {times} first visits, budget {BUDGET_S} s")
            print(f"  readable: median {statistics.median(painted):.2f} s, longest {max(painted):.2f} s")
            print(
                f"  live, in its letters: median {statistics.median(usable):.2f} s, longest {max(usable):.2f} s"
            )


@contextmanager
def running() -> Iterator[tuple[Browser, Field]]:
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        server = FieldServer(Path(folder), "tests.browser.announcing_server").start()
        field = Field(server)
        arguments = ["--no-sandbox", f"--host-resolver-rules=MAP {HOST} 127.0.0.1"]
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=arguments)
        yield browser, field
        browser.close()
        field.database.close()
        server.stop()


def first_view(browser: Browser, address: str) -> tuple[float, float]:
    """Milliseconds from the press on the link until words are seen, and until the page is live."""
    context = browser.new_context(**SCREENS["phone"])
    page = context.new_page()
    protocol = context.new_cdp_session(page)
    protocol.send("Network.enable")
    protocol.send("Network.emulateNetworkConditions", NETWORK)
    protocol.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    page.goto(address, wait_until="commit")
    painted, usable = page.evaluate(FIRST_VIEW)
    context.close()
    return painted, usable


if __name__ == "__main__":
    main()
