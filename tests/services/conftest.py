"""What tests of services share."""

import pytest


@pytest.fixture
def session(database):
    """One transaction for the whole test."""
    with database.write() as session:
        yield session
