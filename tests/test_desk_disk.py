"""Opening and saving: nothing unseen is overwritten, and no failure loses a text."""

from __future__ import annotations

import errno
import os
import stat
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rungs.desk import disk
from rungs.desk.disk import Loaded, OnDisk, Refused, Saved, clear_stale, load, look, save
from rungs.desk.document import Document
from rungs.files import READ_LIMIT, FileError, write_atomic


def opened(path: Path) -> tuple[Document, OnDisk]:
    loaded = load(path)
    assert loaded.document is not None
    assert loaded.disk is not None
    return loaded.document, loaded.disk


def edited(path: Path, data: bytes = b"old\n", text: str = "new\n") -> tuple[Document, OnDisk]:
    path.write_bytes(data)
    document, seen = opened(path)
    document.set_text(text)
    return document, seen


def refused(result: Saved | Refused) -> Refused:
    assert isinstance(result, Refused)
    assert result.message
    assert "your text is still here, unsaved" in result.effect
    assert result.fix
    return result


# --- opening


def test_what_is_no_text_or_too_large_gives_a_finding_and_no_document(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"ab\xff")
    loaded = load(path)
    assert loaded.document is None
    assert [f.code for f in loaded.findings] == ["not-text"]
    path.write_bytes(b"x" * READ_LIMIT)
    assert load(path).document is not None
    path.write_bytes(b"x" * (READ_LIMIT + 1))
    loaded = load(path)
    assert loaded.document is None
    assert [(f.code, f.severity) for f in loaded.findings] == [("too-large", "error")]
    assert "4,000,001 bytes" in loaded.findings[0].message


def test_folders_pipes_and_loops_are_refused_without_waiting(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    os.symlink("loop", tmp_path / "loop")
    for name, why in [
        ("", "folder"),
        ("pipe", "plain file"),
        ("loop", "links"),
        ("none", "no such"),
    ]:
        with pytest.raises(FileError, match=why):
            load(tmp_path / name)
    for name in ("pipe", "loop", "n\0l"):
        document = disk.begin(tmp_path / name, "text").document
        assert document is not None
        refused(save(document, tmp_path / name, None))
    assert os.readlink(tmp_path / "loop") == "loop"


# --- looking


def test_a_look_tells_what_has_become_of_the_file(tmp_path: Path) -> None:
    path = tmp_path / "a"
    assert look(path, None) == ("unchanged", None)
    path.write_bytes(b"1")
    what, seen = look(path, None)
    assert what == "appeared"
    assert look(path, seen)[0] == "unchanged"
    path.write_bytes(b"2")  # as long as before, and most likely within one step of the clock
    assert look(path, seen)[0] == "changed"
    os.utime(path, (0, 0))
    _, seen = look(path, seen)
    path.touch()
    assert look(path, seen)[0] == "unchanged"
    path.unlink()
    assert look(path, seen) == ("gone", None)
    path.mkdir()
    assert look(path, seen)[0] == "changed"


def test_a_file_that_stands_still_is_not_read_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"1")
    late = time.time_ns() + 10_000_000_000
    monkeypatch.setattr(time, "time_ns", lambda: late)
    _, seen = look(path, None)
    monkeypatch.setattr(disk, "read_file", lambda *_: pytest.fail("it was read"))
    assert look(path, seen) == ("unchanged", seen)


# --- other programs


def test_what_another_program_has_written_is_overwritten_only_when_seen(tmp_path: Path) -> None:
    path = tmp_path / "a"
    document, seen = edited(path)
    path.write_bytes(b"other\n")
    result = refused(save(document, path, seen))
    assert (result.reason, path.read_bytes(), document.dirty) == ("changed", b"other\n", True)
    path.write_bytes(b"once more\n")
    again = refused(save(document, path, result.disk))
    assert (again.reason, path.read_bytes()) == ("changed", b"once more\n")
    assert isinstance(save(document, path, again.disk), Saved)
    assert (path.read_bytes(), document.dirty) == (b"new\n", False)


def test_a_change_at_the_last_moment_is_seen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a"
    document, seen = edited(path)
    sync = os.fsync

    def late(handle: int) -> None:
        sync(handle)
        path.write_bytes(b"late\n")

    monkeypatch.setattr(os, "fsync", late)
    assert refused(save(document, path, seen)).reason == "changed"
    assert path.read_bytes() == b"late\n"
    assert os.listdir(tmp_path) == ["a"]


def test_a_change_right_after_a_save_is_seen_by_the_next_look(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a"
    document, seen = edited(path)
    monkeypatch.setattr(disk, "clear_stale", lambda _: path.write_bytes(b"hasty"))
    result = save(document, path, seen)
    assert isinstance(result, Saved)
    assert look(path, result.disk)[0] == "changed"
    document.set_text("newer\n")
    assert refused(save(document, path, result.disk)).reason == "changed"


def test_another_name_takes_no_file_that_is_there(tmp_path: Path) -> None:
    path, other = tmp_path / "a", tmp_path / "b"
    document, _ = edited(path)
    other.write_bytes(b"precious")
    result = refused(save(document, other, None))
    assert (result.reason, other.read_bytes(), document.name) == (
        "appeared",
        b"precious",
        str(path),
    )
    assert isinstance(save(document, tmp_path / "c", None), Saved)
    assert ((tmp_path / "c").read_bytes(), path.read_bytes()) == (b"new\n", b"old\n")
    assert (document.name, document.dirty) == (str(tmp_path / "c"), False)


def test_a_file_that_is_gone_is_written_again(tmp_path: Path) -> None:
    path = tmp_path / "a"
    document, seen = edited(path)
    path.unlink()
    assert isinstance(save(document, path, seen), Saved)
    assert path.read_bytes() == b"new\n"


ACTS = st.lists(st.tuples(st.integers(0, 1), st.sampled_from("erso")), min_size=4, max_size=24)


@given(ACTS)
@settings(max_examples=60)
def test_two_documents_of_one_file_lose_no_text(acts: list[tuple[int, str]]) -> None:
    """Every text that was saved has either been seen by whoever overwrote it, or is on disk."""
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", lambda _: None)  # nothing here is about power
        path = Path(folder) / "a"
        path.write_bytes(b"0")
        both = [opened(path), opened(path)]
        known = [{b"0"}, {b"0"}]  # texts that each has read, written, or been shown
        for number, (who, act) in enumerate(acts):
            document, seen = both[who]
            before = path.read_bytes()
            match act:
                case "e":
                    document.set_text(f"{number} by {who}")
                case "r":
                    both[who] = (document, disk.reload(document, path)[1])
                    known[who].add(before)
                case "s" | "o":
                    result = save(document, path, seen)
                    if isinstance(result, Refused):
                        assert path.read_bytes() == before
                        assert before not in (document.encoded(), b"")
                        if act == "o":  # the user looks at it and overwrites it
                            known[who].add(before)
                            result = save(document, path, result.disk)
                            assert isinstance(result, Saved)
                    if isinstance(result, Saved):
                        assert before in known[who] or before == document.encoded()
                        assert path.read_bytes() == document.encoded()
                        known[who].add(document.encoded())
                        both[who] = (document, result.disk)
                    assert document.dirty == isinstance(result, Refused) or act == "s"


# --- disks that fail


def failing(
    monkeypatch: pytest.MonkeyPatch, module: Any, name: str, k: int, code: int, for_good: bool
) -> list[int]:
    """Make the k-th call fail, or all from the k-th on; the list has as many as were made."""
    real: Callable[..., Any] = getattr(module, name)
    calls: list[int] = []

    def instead(*args: Any, **options: Any) -> Any:
        calls.append(len(calls) + 1)
        if len(calls) == k or (for_good and len(calls) > k):
            raise OSError(code, os.strerror(code))
        return real(*args, **options)

    monkeypatch.setattr(module, name, instead)
    return calls


CALLS = [
    (os, "write"),
    (os, "fsync"),
    (os, "ftruncate"),
    (os, "fchmod"),
    (os, "open"),
    (os, "stat"),
    (Path, "replace"),
]


@pytest.mark.parametrize("links", [1, 2])
@pytest.mark.parametrize("for_good", [False, True])
@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EIO])
@pytest.mark.parametrize(("module", "name"), CALLS)
def test_whichever_call_fails_no_text_is_lost_and_the_next_save_works(
    module: Any, name: str, code: int, for_good: bool, links: int, tmp_path: Path
) -> None:
    failures = 0
    for k in range(1, 30):
        folder = tmp_path / str(k)
        folder.mkdir()
        path = folder / "a"
        document, seen = edited(path, b"old " * 100, "new " * 200)
        if links == 2:
            os.link(path, folder / "b")
        with pytest.MonkeyPatch.context() as patch:
            calls = failing(patch, module, name, k, code, for_good)
            result = save(document, path, seen)
        if isinstance(result, Saved):
            assert path.read_bytes() == b"new " * 200
            assert not document.dirty
        else:
            failures += 1
            refused(result)
            assert document.dirty
            if path.read_bytes() not in (b"old " * 100, b"new " * 200):
                # only a file that is written in place, and whose copy is then told of
                assert links == 2
                (kept,) = folder.glob(".a.rungs-*.tmp")
                assert str(kept) in result.message
                assert kept.read_bytes() == b"new " * 200
                kept.unlink()
            # as if the user typed on, although the failed save may have reached the disk
            document.set_text("newer")
            assert isinstance(save(document, path, seen), Saved)
            assert path.read_bytes() == b"newer"
        assert sorted(os.listdir(folder)) == ["a", "b"][:links]
        if len(calls) < k:
            break
    else:
        raise AssertionError("the calls never ended")
    if name != "ftruncate" and (name != "replace" or links == 1):
        assert failures > 0


def test_a_full_disk_and_a_failing_one_are_told_apart(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a"
    document, seen = edited(path)
    for code, reason in [(errno.ENOSPC, "full"), (errno.EDQUOT, "full"), (errno.EIO, "failed")]:
        with pytest.MonkeyPatch.context() as patch:
            failing(patch, os, "fsync", 1, code, True)
            assert refused(save(document, path, seen)).reason == reason


@pytest.mark.parametrize(("code", "saved"), [(errno.EIO, False), (errno.EINVAL, True)])
def test_a_folder_that_fails_to_sync_is_a_failed_save_unless_it_never_can(
    code: int, saved: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a"
    document, seen = edited(path)
    failing(monkeypatch, os, "fsync", 2, code, False)
    result = save(document, path, seen)
    assert isinstance(result, Saved if saved else Refused)
    assert document.dirty != saved


def test_a_write_in_place_that_cannot_be_taken_back_keeps_the_new_text_beside(
    tmp_path: Path,
) -> None:
    path = tmp_path / "a"
    document, seen = edited(path, b"old " * 100, "new " * 200)
    os.link(path, tmp_path / "b")
    inode, write = path.stat().st_ino, os.write
    calls = 0

    def once(handle: int, data: Any) -> int:
        nonlocal calls
        if os.fstat(handle).st_ino != inode:
            return write(handle, data)
        calls += 1
        if calls > 1:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return write(handle, data[:50])

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "write", once)
        result = refused(save(document, path, seen))
    (kept,) = (name for name in os.listdir(tmp_path) if name.endswith(".tmp"))
    assert kept in result.message
    assert (tmp_path / kept).read_bytes() == b"new " * 200
    assert clear_stale(path, age=-1) == 0
    assert isinstance(save(document, path, seen), Saved)
    assert path.read_bytes() == b"new " * 200


def test_a_limit_of_the_system_leaves_the_old_file_whole(tmp_path: Path) -> None:
    code = """
import os, resource, sys
from pathlib import Path
from rungs.desk import disk
path = Path(sys.argv[1])
loaded = disk.load(path)
loaded.document.set_text("x" * 5000)
resource.setrlimit(resource.RLIMIT_FSIZE, (3000, 3000))
result = disk.save(loaded.document, path, loaded.disk)
print(result.reason, loaded.document.dirty, os.listdir(path.parent))
loaded.document.set_text("y" * 2000)
print(type(disk.save(loaded.document, path, loaded.disk)).__name__)
"""
    path = tmp_path / "a"
    path.write_bytes(b"old\n")
    told = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, timeout=60
    )
    assert told.stdout.splitlines() == ["full True ['a']", "Saved"], told.stderr
    assert path.read_bytes() == b"y" * 2000


# --- links, permissions, names


def test_write_protection_and_missing_folders_are_told(tmp_path: Path) -> None:
    path = tmp_path / "a"
    document, seen = edited(path)
    path.chmod(0o444)
    assert refused(save(document, path, seen)).reason == "protected"
    result = refused(save(document, tmp_path / "none" / "a", None))
    assert result.reason == "folder"
    assert str(tmp_path / "none") in result.fix
    refused(save(document, tmp_path, None))
    assert refused(save(document, tmp_path / ("n" * 300), None)).reason == "failed"
    assert (path.read_bytes(), document.dirty, os.listdir(tmp_path)) == (b"old\n", True, ["a"])


@pytest.mark.parametrize("mode", [0o600, 0o640, 0o664, 0o755])
@pytest.mark.parametrize("kind", ["plain", "symlink", "hard link", "both"])
def test_links_and_permissions_stay(kind: str, mode: int, tmp_path: Path) -> None:
    (tmp_path / "there").mkdir()
    target, path = tmp_path / "there" / "target", tmp_path / "a"
    target.write_bytes(b"old\n")
    if kind in ("hard link", "both"):
        os.link(target, tmp_path / "name")
    if kind in ("symlink", "both"):
        path.symlink_to("there/target")
    else:
        path = target
    target.chmod(mode)
    document, seen = opened(path)
    document.set_text("new\n")
    assert isinstance(save(document, path, seen), Saved)
    assert stat.S_IMODE(target.stat().st_mode) == mode
    assert target.read_bytes() == b"new\n"
    assert path.is_symlink() == (kind in ("symlink", "both"))
    if kind in ("hard link", "both"):
        assert (tmp_path / "name").samefile(target)
    assert os.listdir(tmp_path / "there") == ["target"]


def test_the_group_of_a_file_stays(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"old")
    groups = [group for group in (*os.getgroups(), 12_345) if group != path.stat().st_gid]
    try:
        os.chown(path, -1, groups[-1] if os.getuid() == 0 else groups[0])
    except (OSError, IndexError):
        pytest.skip("this user is in one group only")
    group = path.stat().st_gid
    write_atomic(path, b"new")
    assert (path.stat().st_gid, path.read_bytes()) == (group, b"new")


def test_a_link_to_nothing_is_filled_and_the_longest_name_can_be_saved(tmp_path: Path) -> None:
    link = tmp_path / "link"
    link.symlink_to("later")
    for path in (link, tmp_path / ("\u00e9" * 127 + "x")):
        document = disk.begin(path).document
        assert document is not None
        document.set_text("text")
        assert isinstance(save(document, path, None), Saved)
        assert path.read_bytes() == b"text"
    assert link.is_symlink()


# --- what killed saves leave


def test_only_old_leavings_of_this_file_are_cleared(tmp_path: Path) -> None:
    path = tmp_path / "a"
    document, seen = edited(path)
    old = time.time() - 600
    names = {
        ".a.rungs-abcd_123.tmp": True,
        ".a.rungs-abcd_123.tmp~": False,
        ".a.rungs-ABCD_123.tmp": False,
        ".a.notes.tmp": False,
        ".ab.rungs-abcd_123.tmp": False,
        "a.rungs-abcd_123.tmp": False,
    }
    for name in names:
        (tmp_path / name).write_bytes(b"x")
        os.utime(tmp_path / name, (old, old))
    (tmp_path / ".a.rungs-young_12.tmp").write_bytes(b"x")
    (tmp_path / ".a.rungs-folder12.tmp").mkdir()
    os.utime(tmp_path / ".a.rungs-folder12.tmp", (old, old))
    assert isinstance(save(document, path, seen), Saved)
    left = set(os.listdir(tmp_path))
    assert {name for name in names if name not in left} == {n for n, gone in names.items() if gone}
    assert left >= {".a.rungs-young_12.tmp", ".a.rungs-folder12.tmp"}


def test_the_steps_of_a_save_come_in_the_order_that_survives_a_power_cut(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a"
    document, seen = edited(path)
    order: list[str] = []

    def noted(module: Any, name: str) -> None:
        real: Callable[..., Any] = getattr(module, name)

        def instead(*args: Any) -> Any:
            folder = name == "fsync" and stat.S_ISDIR(os.fstat(args[0]).st_mode)
            order.append(name + " folder" * folder)
            return real(*args)

        monkeypatch.setattr(module, name, instead)

    for module, name in ((os, "write"), (os, "fsync"), (Path, "replace")):
        noted(module, name)
    assert isinstance(save(document, path, seen), Saved)
    assert order == ["write", "fsync", "replace", "fsync folder"]


def test_begin_gives_a_document_without_a_file(tmp_path: Path) -> None:
    loaded = disk.begin(tmp_path / "a", "text\r\n")
    assert isinstance(loaded, Loaded)
    assert loaded.document is not None
    assert (loaded.document.text, loaded.document.newline, loaded.disk) == ("text\n", "\r\n", None)
