"""The handover pack: whole, true of one text, and enough to bring the panel back."""

from __future__ import annotations

import hashlib
import html
import io
import json
import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rungs.cli.exits import CliError
from rungs.cli.main import main
from rungs.cli.pack import stem_of
from rungs.files import decode
from rungs.pack.restore import (
    Restore,
    RestoreError,
    digest_of,
    panel_bytes,
    read_restore,
    restore_json,
)
from rungs.program.check import check
from rungs.shipped import shipped
from rungs.table.formats import table_csv, table_json

SHED = """# CAUTION. The pump can start at any moment.

title "Shed <b>"
supply main 24 V 4 A
input  start at I1 momentary NO "Start, by the =door"
input  stop  at I2 momentary NC "Stop"
output pump  at R1 NO load 24 V 0.4 A coil wire 6 m 0.75 mm2 "Pump <script>alert(1)</script>"
timer  rest  off-delay 5s
output horn  at R2 NO load 24 V 0.1 A electronic
rung "Start and stop"
    (start or pump) and stop -> pump
rung
    start -> rest
rung
    rest -> horn
require "stop means stop" when not stop then not pump
scenario "Starts"
    tap start
    expect pump
"""
SECTIONS = [
    *("cover", "cautions", "io-list", "sequence", "ladder", "week", "table", "proofs"),
    *("scenarios", "panel-sums", "wiring", "checkout", "history", "source"),
]


@pytest.fixture(autouse=True)
def kept_apart(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RUNGS_CACHE", str(tmp_path / "cache"))


def packed(file: Path, out: Path, *more: str) -> str:
    assert main(["pack", str(file), "-o", str(out), "--no-pdf", "--seconds", "3", *more]) == 0
    return (out / f"{file.stem}.html").read_text(encoding="utf-8")


def shown(page: str) -> str:
    """The text of a page, without its elements."""
    bare = re.sub(r"<[^>]*>", " ", page.split("</style>", 1)[1].replace("<wbr>", ""))
    return " ".join(html.unescape(bare).split())


# --- the file that restores -----------------------------------------------------------------------


@settings(deadline=None, max_examples=60)
@given(st.text(max_size=60), st.booleans(), st.booleans())
def test_a_restored_panel_is_the_same_byte_for_byte(text: str, bom: bool, cr: bool) -> None:
    lines = text.replace("\n", "\r\n") if cr else text
    data = (("\ufeff" if bom else "") + lines).encode("utf-8")
    made = Restore(file="a.rungs", sha256=digest_of(data), text=data.decode("utf-8"))
    assert panel_bytes(read_restore(restore_json(made), "x")) == data


@settings(deadline=None, max_examples=60)
@given(st.data())
def test_no_damage_of_a_restore_file_goes_unseen_or_raises_anything_else(
    data: st.DataObject,
) -> None:
    text = SHED.encode("utf-8")
    good = restore_json(Restore(file="a.rungs", sha256=digest_of(text), text=SHED))
    at = data.draw(st.integers(0, len(good) - 1))
    how = data.draw(st.sampled_from(["cut", "flip", "insert"]))
    byte = data.draw(st.binary(min_size=1, max_size=1))
    bad = {
        "cut": good[:at],
        "flip": good[:at] + byte + good[at + 1 :],
        "insert": good[:at] + byte + good[at:],
    }[how]
    try:
        read = read_restore(bad, "x")
    except RestoreError:
        return
    assert panel_bytes(read) == text  # what was hit does not belong to the panel


@pytest.mark.parametrize(
    ("name", "stem"),
    [
        ("hall", "hall"),
        ("../../etc/passwd", "etc_passwd"),
        ("Scheune Süd", "Scheune_S_d"),
        ("...", "panel"),
        ("con", "panel_con"),
        ("LPT1.txt", "panel_LPT1.txt"),
        ("a" * 300, "a" * 80),
        ("x\x00y\n", "x_y"),
    ],
)
def test_a_name_is_one_that_every_folder_takes(name: str, stem: str) -> None:
    assert stem_of(name) == stem


# --- one panel through several handovers ----------------------------------------------------------


def test_a_pack_has_every_paper_and_the_panel_comes_back(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    home = tmp_path / "home of somebody"
    home.mkdir()
    file = home / "shed.rungs"
    file.write_bytes(SHED.replace("\n", "\r\n").encode("utf-8"))
    out = tmp_path / "out"
    page = packed(file, out, "--board", "timed-states")
    assert re.findall(r'<section id="([^"]*)"', page) == SECTIONS
    digest = hashlib.sha256(file.read_bytes()).hexdigest()
    text = shown(page)
    assert text.count(digest) >= 2  # on the cover and with the source
    assert "The pump can start at any moment." in text
    assert "Pump <script>alert(1)</script>" in text
    assert "<script" not in page
    assert "somebody" not in page
    assert "somebody" not in (out / "shed.restore.json").read_text(encoding="utf-8")
    for line in SHED.strip().split("\n"):
        assert " ".join(line.split()) in text
    capsys.readouterr()
    back = tmp_path / "back"
    assert main(["restore", str(out / "shed.restore.json"), "-o", str(back)]) == 0
    assert "byte for byte" in capsys.readouterr().err
    assert (back / "shed.rungs").read_bytes() == file.read_bytes()
    table = json.loads((back / "shed.table.json").read_text(encoding="utf-8"))
    assert table["board"] == "timed-states"
    compiled = tmp_path / "compiled.json"
    call = ["compile", str(back / "shed.rungs"), "--board", "timed-states"]
    assert main([*call, "-o", str(compiled), "-o", str(tmp_path / "compiled.csv")]) == 0
    assert (back / "shed.table.json").read_bytes() == compiled.read_bytes()
    assert (back / "shed.table.csv").read_bytes() == (tmp_path / "compiled.csv").read_bytes()


def test_a_later_pack_says_what_changed_and_shows_it(tmp_path: Path) -> None:
    file, out = tmp_path / "shed.rungs", tmp_path / "out"
    file.write_text(SHED, encoding="utf-8")
    packed(file, out)
    again = packed(file, out)
    kept = json.loads((out / "shed.restore.json").read_text(encoding="utf-8"))
    assert [r["number"] for r in kept["revisions"]] == [1]
    assert "What changed since" not in again
    file.write_text(
        SHED.replace("(start or pump) and stop", "start and stop or pump"), encoding="utf-8"
    )
    text = shown(packed(file, out))
    kept = json.loads((out / "shed.restore.json").read_text(encoding="utf-8"))
    assert [r["number"] for r in kept["revisions"]] == [1, 2]
    assert "rung 1 changed:" in kept["revisions"][1]["changes"][0]
    assert "pump now comes on where it did not before" in text
    assert "horn does the same as before (proved)." in text
    # the cover says that the proof fails now
    assert "1 FAILS" in text
    assert "LOOK HERE" in text


def test_a_record_is_packed_with_the_plan_that_was_walked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "shed.rungs"
    file.write_text(SHED, encoding="utf-8")
    monkeypatch.setattr("sys.stdin", io.StringIO("Ann\np\np\nf\n\nq\n"))
    assert main(["checkout", str(file), "--walk", "--seconds", "0.1"]) == 1
    text = shown(packed(file, tmp_path / "out"))
    assert re.search(r"checkout 3 of \d+ steps done: 2 passed, 1 failed", text)
    assert "3 FAILED Ann" in text
    assert "do not count any more" not in text


def test_a_restore_replaces_nothing_unasked_and_refuses_what_is_damaged(tmp_path: Path) -> None:
    data = SHED.encode("utf-8")
    good = restore_json(Restore(file="shed.rungs", sha256=digest_of(data), text=SHED))
    file = tmp_path / "shed.restore.json"
    file.write_bytes(good)
    other = tmp_path / "shed.rungs"
    other.write_text("mine", encoding="utf-8")
    with pytest.raises(CliError, match="says otherwise"):
        main(["restore", str(file), "-o", str(tmp_path)])
    assert other.read_text(encoding="utf-8") == "mine"
    assert main(["restore", str(file), "-o", str(tmp_path), "--force"]) == 0
    assert other.read_bytes() == data
    file.write_bytes(good.replace(b"0.4 A", b"9.4 A"))
    with pytest.raises(CliError, match="is damaged"):
        main(["restore", str(file), "-o", str(tmp_path)])


def test_what_stands_in_the_way_is_told_before_any_work(tmp_path: Path) -> None:
    file, out = tmp_path / "shed.rungs", tmp_path / "out"
    file.write_text(SHED, encoding="utf-8")
    with pytest.raises(CliError, match="is a file; name a folder"):
        main(["pack", str(file), "-o", str(file), "--no-pdf"])
    out.mkdir()
    for text, words in (
        ("{}", "it has no 'file'"),
        ("[", "it is no JSON"),
        ('{"x": 1}', "no 'file'"),
    ):
        (out / "shed.restore.json").write_text(text, encoding="utf-8")
        with pytest.raises(CliError, match=words) as told:
            main(["pack", str(file), "-o", str(out), "--no-pdf"])
        assert "move it away" in str(told.value)
    assert [path.name for path in out.iterdir()] == ["shed.restore.json"]


# --- the panels that come with it -----------------------------------------------------------------

DEMOS = sorted(shipped("demos").glob("*.rungs"))


@pytest.fixture(scope="module")
def packs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The page of each demo, by its name."""
    out = tmp_path_factory.mktemp("packs")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("RUNGS_CACHE", str(out / "cache"))
        for demo in DEMOS:
            # what no table can hold is soonest found out of a board without a memory
            large = demo.stem in ("greenhouse", "boathouse")
            more = ["--board", "plain-truth"] if large else []
            packed(demo, out, *more)
    return {demo.stem: out / f"{demo.stem}.html" for demo in DEMOS}


@pytest.mark.slow
@pytest.mark.parametrize("demo", DEMOS, ids=lambda path: path.stem)
def test_each_demo_has_a_pack_that_is_whole(demo: Path, packs: dict[str, Path]) -> None:
    page = packs[demo.stem].read_text(encoding="utf-8")
    text = shown(page)
    assert re.findall(r'<section id="([^"]*)"', page) == SECTIONS
    program = check(decode(demo.read_bytes(), demo.name)[0]).program
    assert program is not None
    names = [d.name for d in program.inputs] + [d.name for d in program.outputs]
    for name in names:
        for section in ("io-list", "sequence", "wiring", "checkout"):
            part = page.split(f'<section id="{section}"')[1].split("</section>")[0]
            assert name in shown(f"</style>{part}"), (name, section)
    for line in program.source.text.split("\n"):
        assert " ".join(line.split()) in text
    kept = packs[demo.stem].with_name(f"{demo.stem}.restore.json")
    restore = read_restore(kept.read_bytes(), "x")
    assert panel_bytes(restore) == demo.read_bytes()
    if restore.table is not None:
        part = page.split('<section id="table"')[1].split("</section>")[0]
        told = f"The table has {restore.table.row_count:,} rows, which are not printed"
        rows = len(re.findall(r'<td data-label="row"', part))
        assert rows == restore.table.row_count or told in shown(f"</style>{part}")
        assert table_json(restore.table)
        assert table_csv(restore.table)


@pytest.mark.slow
async def test_each_pack_is_whole_on_paper_and_on_a_phone(
    tmp_path: Path, packs: dict[str, Path]
) -> None:
    pytest.importorskip("aiohttp")
    from tests.chromium import CHROMIUM, browser
    from tests.pages import A4_WIDTH, PHONE_WIDTH, looked_at

    if CHROMIUM is None:
        pytest.skip("needs a browser")
    async with browser(tmp_path / "browser") as page:
        for name, file in packs.items():
            phone = [(PHONE_WIDTH, False)] if name in ("boathouse", "two_pumps") else []
            for width, printed in ((A4_WIDTH, True), *phone):
                assert await looked_at(page, file, width, printed) == [], (name, width)
        assert set(page.asked) == {file.as_uri() for file in packs.values()}


@pytest.mark.slow
def test_a_pack_as_pdf_says_every_row(packs: dict[str, Path]) -> None:
    pypdf = pytest.importorskip("pypdf")
    from rungs.pack.pdf import PdfError, page_pdf

    page = packs["yard_lights"].read_text(encoding="utf-8")
    try:
        data = page_pdf(page)
    except PdfError as error:
        pytest.skip(str(error))
    read = pypdf.PdfReader(io.BytesIO(data))
    text = " ".join(" ".join(sheet.extract_text().split()) for sheet in read.pages)
    counts = re.findall(r'<p class="rows">[^<]*?([0-9,]+ rows?)', page)
    assert len(counts) > 15
    for words in set(counts):
        assert text.count(words) >= counts.count(words)
    for name in ("porch_push", "shed_light", "lights_out"):
        assert name in text
