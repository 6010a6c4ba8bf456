"""`rungs restore`: the panel and the table of a handover, exactly as they were handed over."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from pathlib import Path

from rungs.cli.exits import FINDINGS, FINE, IO_FAILED, CliError
from rungs.cli.pack import make_folder, read_restore_file, stem_of
from rungs.files import FileError, read_bytes, write_atomic
from rungs.report.text import plain, say


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    parser.add_argument("file", metavar="NAME.restore.json", help="the restore file of a pack")
    parser.add_argument("-o", "--output", metavar="DIR", default=".", help="where to (here)")
    parser.add_argument("--force", action="store_true", help="replace files that say otherwise")


def run(args: Namespace) -> int:
    """Write the panel and its table; 1 if the table is not made again byte for byte."""
    restore = read_restore_file(Path(args.file))
    # these need pydantic, which other verbs need not wait for
    from rungs.pack.again import table_again
    from rungs.pack.restore import panel_bytes
    from rungs.table.formats import table_csv, table_json

    folder, stem = Path(args.output), stem_of(Path(restore.file).stem)
    files = {f"{stem}.rungs": panel_bytes(restore)}
    if restore.table is not None:
        files[f"{stem}.table.json"] = table_json(restore.table).encode("utf-8")
        files[f"{stem}.table.csv"] = table_csv(restore.table).encode("utf-8")
    if restore.board is not None:
        files[f"{stem}.board.toml"] = restore.board.text.encode("utf-8")
    _write(files, folder, args.force)
    say(f"rungs: the panel is the one with the sha256 {restore.sha256}")
    if restore.table is None:
        say("rungs: there was no table at that handover")
        return FINE
    verdict = table_again(restore)
    say(f"rungs: {plain(verdict.words)}")
    return FINE if verdict.same else FINDINGS


def _write(files: dict[str, bytes], folder: Path, force: bool) -> None:
    """All files, or none if one of them would replace another text."""
    for name, data in files.items():
        path = folder / name
        try:
            if not force and path.exists() and read_bytes(path, len(data) + 1) != data:
                raise CliError(
                    f"'{plain(str(path))}' is there and says otherwise; --force replaces it"
                )
        except FileError as error:
            raise CliError(str(error), IO_FAILED) from error
    make_folder(folder)
    for name, data in files.items():
        try:
            write_atomic(folder / name, data)
        except FileError as error:
            raise CliError(str(error), IO_FAILED) from error
        print(folder / name)
