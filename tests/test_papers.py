"""Papers in every form: whatever a label holds, all of it shows, and nothing of it acts."""

from __future__ import annotations

import csv
import io
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from markdown_it import MarkdownIt

from rungs.cells import columns, safe
from rungs.pack import pdf
from rungs.papers.blocks import (
    Block,
    Caution,
    Heading,
    Paper,
    Paragraph,
    Picture,
    Points,
    Table,
    Verbatim,
)
from rungs.papers.markdown import paper_markdown
from rungs.papers.page import page_html
from rungs.papers.sheet import table_csv
from rungs.papers.text import paper_text
from rungs.svg import document, words

HOSTILE = (
    *("<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "]]>", "<!--", "&lt;b&gt;"),
    *("[a](http://example.org)", "*a* _b_ `c` ~~d~~", "# not a heading", "1. not a list"),
    *("| a | b |", "=1+1", "+1", "-2+3", "@SUM(A1)", "\t=1", "\uff1d1", "'quoted", "${7*7}"),
    *("{{7*7}}", "日本語のラベル", "\u202eright to left", "a\nb", "\x1b[31mred", "x" * 300),
)
LABELS = st.sampled_from(HOSTILE) | st.text(max_size=30)


@st.composite
def tables(draw: st.DrawFn) -> Table:
    wide = draw(st.integers(1, 6))
    rows = draw(st.lists(st.tuples(*[LABELS] * wide), max_size=4))
    return Table("rows", tuple(f"column {n}" for n in range(wide)), tuple(rows), draw(LABELS))


BLOCKS: st.SearchStrategy[Block] = st.one_of(
    LABELS.map(Heading),
    LABELS.map(Paragraph),
    LABELS.map(Caution),
    st.lists(LABELS, min_size=1, max_size=3).map(lambda items: Points(tuple(items))),
    tables(),
    LABELS.map(Verbatim),
)
PAPERS = st.builds(
    Paper, st.just("paper"), LABELS, st.lists(BLOCKS, max_size=5).map(lambda blocks: tuple(blocks))
)


def texts_of(paper: Paper) -> list[str]:
    """Every text of a paper, as it should show: one line each, without what harms a terminal."""
    found = [paper.title]
    for block in paper.blocks:
        match block:
            case Table():
                found += [cell for row in block.rows for cell in row]
                found += [block.caption] if block.rows else []
            case Points():
                found += block.items
            case Picture():
                found.append(block.words)
            case Verbatim():
                found += block.text.split("\n")
            case _:
                found.append(block.text)
    return [" ".join(safe(text).split()) for text in found if safe(text).strip()]


@settings(deadline=None, max_examples=60)
@given(PAPERS, st.integers(40, 130))
def test_on_a_terminal_nothing_is_lost_or_too_wide(paper: Paper, width: int) -> None:
    text = paper_text(paper, width)
    assert all(char == "\n" or safe(char) == char for char in text)
    loose = {safe(t) for b in paper.blocks if isinstance(b, Verbatim) for t in b.text.split("\n")}
    assert all(columns(line) <= width or line in loose for line in text.split("\n"))
    # columns of a table stand beside each other, so single letters are what can be counted
    shown = re.sub(r"\s", "", text)
    for wanted in texts_of(paper):
        for letter in set(re.sub(r"\s", "", wanted)):
            assert shown.count(letter) >= wanted.count(letter)


@settings(deadline=None, max_examples=60)
@given(PAPERS)
def test_markdown_shows_each_text_as_it_is(paper: Paper) -> None:
    # markdown-it-py is an independent reading of CommonMark
    tokens = (
        MarkdownIt("commonmark").enable(["table", "strikethrough"]).parse(paper_markdown(paper))
    )
    kinds = {t.type for t in tokens} | {c.type for t in tokens for c in t.children or ()}
    assert not kinds & {"html_block", "html_inline", "link_open", "image", "code_inline", "hr"}
    assert sum(t.type == "heading_open" for t in tokens) == 1 + sum(
        isinstance(block, Heading) for block in paper.blocks
    )
    shown = [
        "".join(c.content for c in t.children) if t.children else t.content
        for t in tokens
        if t.type in ("inline", "fence")
    ]
    lines = {" ".join(line.split()) for text in shown for line in text.split("\n")}
    for wanted in texts_of(paper):
        assert any(wanted in line for line in lines), wanted


@settings(deadline=None, max_examples=80)
@given(tables())
def test_a_spreadsheet_runs_no_cell(table: Table) -> None:
    rows = list(csv.reader(io.StringIO(table_csv(table))))
    assert len(rows) == 1 + len(table.rows)
    for row, read in zip(table.rows, rows[1:], strict=True):
        for cell, back in zip(row, read, strict=True):
            # OWASP, CSV injection: the first characters that begin a formula (FROM MEMORY)
            bare = re.fullmatch(r"[-+]?[0-9]+(\.[0-9]+)?", back)
            assert bare or not back.lstrip().startswith(tuple("=+-@\uff1d\uff0b\uff0d\uff20"))
            assert (back[1:] if back.startswith("'") else back) == safe(cell)


class Tags(HTMLParser):
    """The elements of a page, and its text."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}

    def handle_data(self, data: str) -> None:
        self.text.append(data)


OURS = frozenset(
    {"html", "head", "meta", "title", "style", "body", "header", "h1", "h2", "h3", "section", "p"}
    | {"strong", "ul", "ol", "li", "table", "thead", "tr", "th", "tbody", "td", "figure"}
    | {"figcaption", "wbr", "pre", "nav", "a", "svg", "desc", "text"}
)


@settings(deadline=None, max_examples=60)
@given(st.lists(PAPERS, min_size=1, max_size=2))
def test_a_page_holds_our_elements_alone_and_every_text(papers: list[Paper]) -> None:
    page = page_html(papers[0].title, papers)
    found = Tags()
    found.feed(page)
    assert found.tags <= OURS
    assert not any(name.startswith("on") or name == "src" for name in found.attributes)
    text = " ".join("".join(found.text).split())
    for paper in papers:
        for wanted in texts_of(paper):
            assert wanted in text
    assert page == page_html(papers[0].title, papers)


def test_a_policy_lets_nothing_in_but_the_styles_of_the_page() -> None:
    picture = Picture("drawing", document(10, 10, "t", "d", [words(1, 5, "x", 3)]), "a drawing")
    page = page_html("t", [Paper("p", "t", (picture,))])
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', page)
    assert policy is not None
    assert policy[1].startswith("default-src &#39;none&#39;; style-src &#39;sha256-")
    assert policy[1].count("sha256-") == len(re.findall(r"<style>", page)) == 2
    assert "unsafe" not in policy[1]


def test_a_table_says_how_many_rows_it_has() -> None:
    for number in (0, 1, 2, 37):
        table = Table("t", ("a",), tuple((str(n),) for n in range(number)), none="Nothing here.")
        paper = Paper("p", "P", (table,))
        for form in (paper_text(paper), paper_markdown(paper), page_html("P", [paper])):
            if number == 0:
                assert "Nothing here." in form
            else:
                assert f"{number} row{'s' * (number != 1)}" in form


# --- in a real browser --------------------------------------------------------------------------

pytest.importorskip("aiohttp")


def long_table(number: int, wide: int) -> Table:
    heads = tuple(f"column with a name {n}" for n in range(wide))
    rows = tuple((f"{number}-{n:03}-row", *HOSTILE[: wide - 1]) for n in range(number))
    return Table(f"t{number}", heads, rows, f"{number} wanted")


PAGE = [
    Paper("one", "Hostile texts", tuple(Points((label,)) for label in HOSTILE)),
    Paper("two", "Tables", (long_table(3, 2), long_table(5, 9), Verbatim("\n".join(HOSTILE)))),
]


@pytest.mark.slow
async def test_a_browser_shows_every_text_and_runs_none(tmp_path: Path) -> None:
    from tests.chromium import CHROMIUM, browser
    from tests.pages import A4_WIDTH, PHONE_WIDTH, looked_at

    if CHROMIUM is None:
        pytest.skip("needs a browser")
    file = tmp_path / "page.html"
    file.write_text(page_html("<script>alert(1)</script>", PAGE), encoding="utf-8")
    async with browser(tmp_path / "browser") as page:
        for width, printed in ((A4_WIDTH, True), (PHONE_WIDTH, False), (1200, False)):
            assert await looked_at(page, file, width, printed) == []
            shown = await page.value("document.body.textContent")
            assert all(
                " ".join(safe(label).split()) in " ".join(shown.split()) for label in HOSTILE
            )
        assert await page.value("document.scripts.length") == 0
        assert page.asked == [file.as_uri()] * 3


@pytest.mark.slow
@pytest.mark.parametrize(
    ("maker", "sizes"), [("_by_browser", (1, 2, 29, 137, 500)), ("_by_library", (1, 3, 60))]
)
def test_a_pdf_has_every_row_that_the_data_has(maker: str, sizes: tuple[int, ...]) -> None:
    pypdf = pytest.importorskip("pypdf")
    papers = [Paper(f"p{n}", f"{n} rows", (long_table(n, 4),)) for n in sizes]
    try:
        data = getattr(pdf, maker)(page_html("Rows", papers))
    except pdf.PdfError as error:
        pytest.skip(str(error))
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    text = "".join(page.extract_text() for page in pages)
    for number in sizes:
        assert f"{number} wanted ({number} row{'s' * (number != 1)})" in text
        for n in range(number):
            assert text.count(f"{number}-{n:03}-row") == 1, (number, n)
