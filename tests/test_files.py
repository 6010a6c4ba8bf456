"""Files are written wholly or not at all, and stay what they were."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from rungs.files import FileError, read_bytes, write_atomic


def leftovers(folder: Path) -> list[str]:
    return [path.name for path in folder.iterdir() if path.name.endswith(".tmp")]


@pytest.mark.parametrize("call", ["fsync", "replace"])
def test_a_write_that_fails_leaves_the_old_file_whole(
    call: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "panel.rungs"
    path.write_bytes(b"old")

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    if call == "fsync":
        monkeypatch.setattr(os, "fsync", full)
    else:
        monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(FileError, match="no space left"):
        write_atomic(path, b"new")
    assert path.read_bytes() == b"old"
    assert leftovers(tmp_path) == []


def test_a_new_file_gets_the_usual_permissions(tmp_path: Path) -> None:
    mask = os.umask(0o027)
    try:
        write_atomic(tmp_path / "a", b"x")
    finally:
        os.umask(mask)
    assert (tmp_path / "a").stat().st_mode & 0o777 == 0o640


def test_hard_links_go_on_showing_one_file(tmp_path: Path) -> None:
    path, other = tmp_path / "a", tmp_path / "b"
    path.write_bytes(b"a longer old text")
    os.link(path, other)
    write_atomic(path, b"new")
    assert other.read_bytes() == b"new"
    assert path.stat().st_ino == other.stat().st_ino
    assert leftovers(tmp_path) == []


def test_folders_and_missing_folders_are_refused_in_words(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="is a folder"):
        read_bytes(tmp_path)
    with pytest.raises(FileError, match="cannot read"):
        read_bytes(tmp_path / "none")
    with pytest.raises(FileError, match="cannot write"):
        write_atomic(tmp_path / "none" / "a", b"")
