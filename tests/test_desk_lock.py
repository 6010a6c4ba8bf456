"""The notice that a file is open elsewhere: seen while it holds, and no barrier after a crash."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from rungs.desk import state
from rungs.desk.lock import holder_of, take
from rungs.desk.state import Owner, life_of, owner_of, this_process

ROOT = Path(__file__).parent.parent


@pytest.fixture(autouse=True)
def state_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("RUNGS_STATE", str(tmp_path / "state"))
    monkeypatch.setenv("PYTHONPATH", str(ROOT))
    return tmp_path / "state"


def notice(folder: Path) -> Path:
    (file,) = (folder / "locks").glob("*.json")
    return file


def as_if(folder: Path, **fields: Any) -> None:
    """Change the notice so that another process seems to have left it."""
    file = notice(folder)
    record = json.loads(file.read_text())
    record["owner"].update(fields)
    file.write_text(json.dumps(record))


def test_a_bench_that_runs_is_reported_until_it_ends(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"")
    (tmp_path / "link").symlink_to("a")
    other = subprocess.Popen(
        [sys.executable, str(ROOT / "tests" / "kills.py"), "hold", str(tmp_path / "link")],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert other.stdin is not None
    assert other.stdout is not None
    assert other.stdout.readline() == "held\n"
    lock = take(path)
    assert not lock.held
    assert lock.holder is not None
    assert (lock.holder.owner.pid, lock.holder.life) == (other.pid, "alive")
    assert f"another bench (process {other.pid}) since 2" in lock.holder.words()
    assert path.read_bytes() == b""  # a notice keeps nobody from reading
    other.kill()
    other.wait(timeout=20)
    other.stdin.close()
    other.stdout.close()
    assert holder_of(path) is None
    assert take(path).held


def test_a_released_file_is_free_and_a_second_notice_here_is_known_as_ours(tmp_path: Path) -> None:
    first = take(tmp_path / "a")
    second = take(tmp_path / "a")
    assert first.held
    assert second.holder is not None
    assert second.holder.words().startswith("this bench since ")
    second.release()
    assert take(tmp_path / "b").held
    assert not take(tmp_path / "a").held
    first.release()
    assert take(tmp_path / "a").held


def ended() -> int:
    process = subprocess.Popen([sys.executable, "-c", ""])
    process.wait(timeout=20)
    return process.pid


@pytest.mark.parametrize(
    ("fields", "free"),
    [
        (lambda: {"pid": ended()}, True),
        (lambda: {"started": "1"}, True),  # the number belongs to another process now
        (lambda: {"boot": "another"}, True),
        (lambda: {"machine": "another", "host": "shed"}, False),
        (lambda: {"space": "another"}, False),
        (lambda: {"pid": -1}, True),
        (lambda: {"pid": "7"}, True),
    ],
)
def test_notices_of_processes_that_are_gone_are_taken_over(
    fields: Callable[[], dict[str, Any]], free: bool, state_folder: Path, tmp_path: Path
) -> None:
    old = take(tmp_path / "a")
    as_if(state_folder, **fields())
    lock = take(tmp_path / "a")
    assert lock.held == free
    if free:
        old.release()  # no longer its own
        assert holder_of(tmp_path / "a") is not None
    else:
        assert lock.holder is not None
        assert lock.holder.life == "unknown"
        assert take(tmp_path / "a", over=True).held
    assert lock.path == tmp_path / "a"


def test_another_machine_is_named(state_folder: Path, tmp_path: Path) -> None:
    take(tmp_path / "a")
    as_if(state_folder, machine="another", host="shed")
    holder = holder_of(tmp_path / "a")
    assert holder is not None
    assert f"another bench on shed (process {os.getpid()})" in holder.words()


def test_a_process_that_has_ended_and_not_been_collected_holds_nothing() -> None:
    process = subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE)
    owner = replace(this_process(), pid=process.pid, started="")
    assert life_of(owner) == "alive"
    assert process.stdin is not None
    process.stdin.close()
    os.waitid(os.P_PID, process.pid, os.WEXITED | os.WNOWAIT)
    assert life_of(owner) == "dead"
    process.wait(timeout=20)
    assert life_of(owner) == "dead"
    assert life_of(replace(owner, pid=2**70)) == "dead"


def test_without_a_process_list_a_number_still_tells_if_it_is_used(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    gone = ended()
    me = this_process()
    real = Path.read_bytes

    def none(self: Path) -> bytes:
        if self.parts[1:2] == ("proc",):
            raise FileNotFoundError
        return real(self)

    monkeypatch.setattr(Path, "read_bytes", none)
    assert life_of(replace(me, started="1")) == "alive"
    assert life_of(replace(me, pid=gone)) == "dead"


def test_damaged_notices_hold_nothing(state_folder: Path, tmp_path: Path) -> None:
    take(tmp_path / "a")
    for text in ("", "{", "[]", "{}", '{"owner": 1}', "[" * 50_000, '{"owner": {}}'):
        notice(state_folder).write_text(text)
        assert holder_of(tmp_path / "a") is None
    assert take(tmp_path / "a").held


def test_without_a_place_for_notices_it_is_said_and_nothing_raised(
    state_folder: Path, tmp_path: Path
) -> None:
    state_folder.write_text("in the way")
    lock = take(tmp_path / "a")
    assert not lock.held
    assert lock.trouble is not None
    assert "cannot note that" in lock.trouble.message
    lock.release()
    assert holder_of(tmp_path / "a") is None


def test_notices_are_for_this_user_alone(state_folder: Path, tmp_path: Path) -> None:
    take(tmp_path / "a")
    assert notice(state_folder).stat().st_mode & 0o777 == 0o600
    assert (state_folder / "locks").stat().st_mode & 0o777 == 0o700


def test_a_process_is_the_same_after_being_written_down() -> None:
    me = this_process()
    assert isinstance(me, Owner)
    assert owner_of(json.loads(json.dumps(me.record()))) == me
    assert life_of(me) == "alive"


def test_the_usual_place_is_that_of_the_system(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.delenv("RUNGS_STATE")
    monkeypatch.setattr(state, "user_state_path", lambda name, appauthor: tmp_path / name)
    assert state.state_folder("locks") == tmp_path / "rungs" / "locks"
