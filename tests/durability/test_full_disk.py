"""A disk on which the files of a running server may not grow any more, and then may again."""

import resource
from pathlib import Path

import httpx

from server.web.dependencies import COOKIE
from tests.durability import busy_day
from tests.simulated_day.clocked_server import TOKEN

ROOM_BYTES = 128 * 1024
MOST_PRESSES = 300


def let_files_grow_to(pid: int, size: int) -> None:
    hard = resource.prlimit(pid, resource.RLIMIT_FSIZE)[1]
    resource.prlimit(pid, resource.RLIMIT_FSIZE, (size, hard))


def test_it_is_told_loses_nothing_that_was_answered_and_goes_on_once_there_is_room(tmp_path: Path):
    day = busy_day.made(tmp_path, days_to_publish=0)
    server = busy_day.server_in(tmp_path).start()
    origin = f"http://127.0.0.1:{server.port}"
    headers = {"Origin": origin}
    with httpx.Client(base_url=origin, headers=headers, cookies={COOKIE: TOKEN}, timeout=60) as client:

        def check_in() -> httpx.Response:
            name = f"P{next(day.names)}"
            answer = client.post(f"/days/{busy_day.CODE}/pilots", data={"line": f"{name} R 25"})
            if answer.status_code == 303:
                day.note(("pilot", name))
            return answer

        wal = day.file.with_name(day.file.name + "-wal")
        let_files_grow_to(server.pid, max(day.file.stat().st_size, wal.stat().st_size) + ROOM_BYTES)
        answers = [check_in()]
        while answers[-1].status_code == 303 and len(answers) < MOST_PRESSES:
            answers.append(check_in())
        assert answers[-1].status_code == 507
        assert "The disk is full, so this was not saved." in answers[-1].text
        assert client.get(f"/days/{busy_day.CODE}/logbook").status_code == 200
        let_files_grow_to(server.pid, resource.RLIM_INFINITY)
        assert check_in().status_code == 303
    server.kill()
    assert busy_day.lost(day, day.file) == set()
    assert busy_day.faults(day.file) == []
