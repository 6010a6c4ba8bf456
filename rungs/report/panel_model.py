"""The panel sums as the JSON that `rungs panel --json` prints.

What the sums hold is the form, field for field, so that a figure that the paper shows cannot be
another one here.
"""

from __future__ import annotations

from dataclasses import fields
from typing import Literal

from pydantic import BaseModel

from rungs.panel.contacts import Duty
from rungs.panel.protection import Apart, Class2, Fuse, Mix, Voltage
from rungs.panel.sums import Remark, Sums, SupplySum
from rungs.panel.verdict import Verdict
from rungs.panel.wires import InputWire, Limits, LoadWire
from rungs.report.model import Document


class LooseModel(BaseModel):
    """An output of which nobody knows what feeds it, and the supplies that may."""

    output: str
    supplies: list[str]


class PanelModel(Document):
    """What `rungs panel --json` prints."""

    kind: Literal["panel"] = "panel"
    file: str
    title: str
    board: str
    verdict: Verdict
    limits: Limits
    supplies: tuple[SupplySum, ...]
    loose: list[LooseModel]
    load_wires: tuple[LoadWire, ...]
    input_wires: tuple[InputWire, ...]
    duties: tuple[Duty, ...]
    fuses: tuple[Fuse, ...]
    voltages: tuple[Voltage, ...]
    mixed: tuple[Mix, ...]
    class_2: tuple[Class2, ...]
    inductive: tuple[str, ...]
    kept_apart: tuple[Apart, ...]
    assumptions: int
    remarks: tuple[Remark, ...]


def panel_model(sums: Sums) -> PanelModel:
    """The sums as a document."""
    data = {item.name: getattr(sums, item.name) for item in fields(sums)}
    data["loose"] = [
        LooseModel(output=each.output.name, supplies=list(each.supplies)) for each in sums.loose
    ]
    return PanelModel(**data, verdict=sums.verdict)
