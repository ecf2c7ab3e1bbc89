import subprocess
import sys

import pytest

from server.storage.one_server import AlreadyServedError, only_server

HOLD = """
import sys, pathlib
from server.storage.one_server import only_server
with only_server(pathlib.Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.read()
"""


def test_a_second_server_of_the_same_file_is_refused_until_the_first_is_gone(tmp_path):
    file = tmp_path / "bandstand.sqlite"
    command = [sys.executable, "-c", HOLD, str(file)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as first:
        assert first.stdout.readline() == "held\n"
        with (
            pytest.raises(AlreadyServedError, match=r"bandstand\.sqlite is served already"),
            only_server(file),
        ):
            pass
        first.kill()
        first.wait()
        with only_server(file):
            pass


def test_two_files_may_be_served_at_once(tmp_path):
    with only_server(tmp_path / "a.sqlite"), only_server(tmp_path / "b.sqlite"):
        pass
