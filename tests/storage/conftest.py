"""The database of these tests is a data file, and then PostgreSQL."""

from collections.abc import Iterator
from pathlib import Path

import pytest


@pytest.fixture(params=["data file", "postgresql"])
def place(request: pytest.FixtureRequest) -> Iterator[Path | str]:
    if request.param == "data file":
        yield request.getfixturevalue("data_file")
    else:
        with request.getfixturevalue("postgresql").database() as address:
            yield address
