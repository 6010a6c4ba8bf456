"""The papers: sheets against the drawing in characters, tours against an integer program, and a
whole handover against its proofs alone."""

from __future__ import annotations

from datetime import date

from rungs.checkout.tour import shortest_tour
from rungs.draw.ladder_svg import ladder_pictures
from rungs.draw.text import draw_program
from rungs.draw.wiring_svg import wiring_pictures
from rungs.narrate.build import narrate
from rungs.pack.build import Ask, hand_over
from rungs.papers.page import page_html
from rungs.program.check import check
from rungs.prove.budget import Budget
from rungs.prove.whole import prove
from rungs.shipped import shipped
from rungs.source import source_from_text
from rungs.wiring.plan import wiring
from tests.benchmarks.measure import ladder_text, show, timed
from tests.test_checkout_tour import milp_optimum, random_graph


def papers() -> None:
    """Each against what it could be replaced by."""
    program = check(source_from_text(ladder_text(2_000))).program
    assert program is not None
    sheets = timed(lambda: ladder_pictures(program), 3)
    drawn = timed(lambda: draw_program(program), 3)
    show("ladder of 2,000 rungs on sheets", sheets, "ms", f"{sheets / drawn:.2f} x in characters")
    graphs = [random_graph(seed, 9) for seed in range(12)]
    ours = timed(lambda: [shortest_tour(graph, 0, 5.0) for graph in graphs], 3)
    peer = timed(lambda: [milp_optimum(graph) for graph in graphs], 3)
    show("12 shortest tours of small graphs", ours, "ms", f"{ours / peer:.3f} x HiGHS")
    for name in ("boathouse", "two_pumps"):
        text = (shipped("demos") / f"{name}.rungs").read_text(encoding="utf-8")
        _demo(name, text)


def _demo(name: str, text: str) -> None:
    program = check(source_from_text(text, f"{name}.rungs")).program
    assert program is not None
    proofs = timed(lambda: prove(program, Budget(60, 2_000)), 1)
    told = timed(lambda: narrate(program, beside=False), 1)
    show(f"sequence of {name}", told, "ms", f"{told / proofs:.2f} x its proofs")
    drawing = timed(lambda: wiring_pictures(wiring(program)), 3)
    show(f"wiring drawing of {name}", drawing, "ms", f"{drawing / proofs:.3f} x its proofs")
    ask = Ask(program, text.encode("utf-8"), today=date(2026, 11, 23))
    whole = timed(lambda: page_html("handover", hand_over(ask).papers), 1)
    show(
        f"whole handover of {name} but for the PDF",
        whole,
        "ms",
        f"{whole / proofs:.2f} x its proofs",
    )
