"""Where compiled code is kept, and what of it is removed."""

import os

import pytest

from server.allocator import compiled

DAY_S = 86_400


@pytest.fixture
def kept(tmp_path):
    """Folders of 16 letters as versions have them, and one of somebody's own; the first is this version's."""
    names = (compiled._sources(), "0" * 16, "1" * 16, "somebody's")
    for days, name in enumerate(names):
        (tmp_path / name).mkdir()
        (tmp_path / name / "code.nbi").touch()
        os.utime(tmp_path / name, (days * DAY_S, days * DAY_S))
    return tmp_path


def left(kept):
    return sorted(one.name for one in kept.iterdir())


def test_code_of_versions_nobody_started_since_then_is_removed(kept):
    compiled._remove_unused(kept / compiled._sources(), 2 * DAY_S)
    assert left(kept) == sorted([compiled._sources(), "1" * 16, "somebody's"])


def test_a_start_counts_as_use_of_its_own_code(kept):
    compiled._remove_unused(kept / compiled._sources(), 9 * DAY_S)
    assert left(kept) == sorted([compiled._sources(), "somebody's"])
    assert (kept / compiled._sources()).stat().st_mtime > 9 * DAY_S


def test_beside_a_folder_of_ones_own_choice_nothing_is_removed(kept):
    compiled._remove_unused(kept / "somebody's", 9 * DAY_S)
    assert len(left(kept)) == 4


def test_files_beside_the_folders_stay(kept):
    (kept / ("2" * 16)).touch()
    os.utime(kept / ("2" * 16), (0, 0))
    compiled._remove_unused(kept / compiled._sources(), 9 * DAY_S)
    assert "2" * 16 in left(kept)
