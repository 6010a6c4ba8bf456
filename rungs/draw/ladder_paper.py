"""The ladder as a paper: its sheets, and the list of devices with the rungs they stand in.

The list has every place; a sheet may say `+3 more` where there is no room for all.
"""

from __future__ import annotations

from rungs.draw.crossref import Driver
from rungs.draw.ladder_svg import ladder_pictures
from rungs.draw.ladder_words import Places, kind_words, places_of
from rungs.papers.blocks import Heading, Paper, Table
from rungs.program.nodes import Input, Output, Program
from rungs.svg import PaperSize


def reference_table(program: Program) -> Table:
    """A row for each device in file order: what it is, and the rungs in which it stands.

    Rungs that act otherwise than as a coil say how: `5 latch`. A negated contact of any kind counts
    as NC, any other, and a comparison, as NO; each rung is named once.
    """
    places = places_of(program)
    rows: list[tuple[str, ...]] = []
    for device in program.devices:
        place = places.get(device.name, Places())
        terminal = device.terminal if isinstance(device, Input | Output) else ""
        rows.append(
            (
                device.name,
                kind_words(device),
                terminal,
                ", ".join(map(_driver, place.driven)),
                ", ".join(map(str, place.no)),
                ", ".join(map(str, place.nc)),
                device.label,
            )
        )
    return Table(
        "devices",
        (
            "Device",
            "Kind",
            "Terminal",
            "Driven in rung",
            "NO contacts in rungs",
            "NC contacts in rungs",
            "Label",
        ),
        tuple(rows),
        none="The panel has no devices.",
    )


def _driver(driver: Driver) -> str:
    return str(driver.rung) if driver.verb == "coil" else f"{driver.rung} {driver.verb}"


def ladder_paper(program: Program, paper: PaperSize = "A4") -> Paper:
    """The sheets of the ladder, and the list of devices behind them."""
    title = f"{program.title or program.source.name or 'Panel'}: ladder"
    pictures = ladder_pictures(program, paper)
    return Paper(
        "ladder", title, (*pictures, Heading("Where each device stands"), reference_table(program))
    )
