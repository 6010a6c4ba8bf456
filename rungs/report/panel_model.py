"""The panel sums as the JSON that `rungs panel --json` prints.

The models have the fields of the sums, name for name, and are filled from them, so that a figure
that the paper shows cannot be another one here.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import Literal

from pydantic import BaseModel, ConfigDict

from rungs.panel.loads import Loose
from rungs.panel.sums import Sums
from rungs.panel.verdict import Verdict
from rungs.report.model import Document


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class LimitsModel(_Part):
    """What the sums go by; `drop` is None where the file gives none."""

    drop: float | None
    lighting: float
    other: float
    reserve: float
    reserve_given: bool
    conductors: float
    conductors_given: bool


class SupplySumModel(_Part):
    """One supply, amps of its loads at rest, at worst and all on; see the reference."""

    supply: str
    volts: float
    rated: float
    reserve_percent: float
    usable: float
    at_rest: float
    dark: float
    power_up: float | None
    worst_at_most: float
    worst_seen: float
    exact: bool
    on: list[str]
    steps: list[str]
    reason: str
    all_on: float
    all_on_words: str
    fed: list[str]
    by_volts: list[str]
    unknown: list[str]
    perhaps: list[str]
    verdict: Verdict
    why: str


class LooseModel(_Part):
    """An output of which nobody knows what feeds it, and the supplies that may."""

    output: str
    supplies: list[str]


class LoadWireModel(_Part):
    """The run to one load; None for what is unknown."""

    output: str
    length_m: float | None
    size: str
    ohm_per_km: float | None
    basis: str
    volts: float | None
    amps: float | None
    kind: str
    loop_ohms: float | None
    drop_volts: float | None
    drop_percent: float | None
    load_volts: float | None
    limit_percent: float | None
    longest_m: float | None
    smallest: str
    verdict: Verdict
    why: str


class InputWireModel(_Part):
    """The run to one dry contact."""

    input: str
    length_m: float | None
    size: str
    loop_ohms: float | None
    why: str


class DutyModel(_Part):
    """One relay contact against the board's ratings."""

    output: str
    terminal: str
    side: Literal["NO", "NC"]
    kind: str
    volts: float | None
    amps: float | None
    counts_as: str
    rating_amps: float | None
    rating_volts: float | None
    surge: str
    verdict: Verdict
    why: str


class FuseModel(_Part):
    """The fuse that 125 % of a current asks for, None beyond the series."""

    what: str
    of: str
    amps: float
    least_amps: float
    fuse_amps: float | None


class VoltageModel(_Part):
    """One voltage of the panel and what it counts as."""

    volts: float
    names: list[str]
    words: str
    verdict: Verdict


class MixModel(_Part):
    """A load above extra-low voltage, and what is extra-low beside it."""

    output: str
    volts: float
    beside: list[str]


class Class2Model(_Part):
    """Whether a supply's rating is within the limits of Class 2."""

    supply: str
    volt_amps: float
    within: bool


class ApartModel(_Part):
    """Two outputs that a property keeps apart, where a slow release matters."""

    first: str
    second: str
    by: str


class RemarkModel(_Part):
    """One thing that failed or is unknown."""

    verdict: Verdict
    about: str
    words: str


class PanelModel(Document):
    """What `rungs panel --json` prints."""

    kind: Literal["panel"] = "panel"
    file: str
    title: str
    board: str
    verdict: Verdict
    limits: LimitsModel
    supplies: list[SupplySumModel]
    loose: list[LooseModel]
    load_wires: list[LoadWireModel]
    input_wires: list[InputWireModel]
    duties: list[DutyModel]
    fuses: list[FuseModel]
    voltages: list[VoltageModel]
    mixed: list[MixModel]
    class_2: list[Class2Model]
    inductive: list[str]
    kept_apart: list[ApartModel]
    assumptions: int
    remarks: list[RemarkModel]


def panel_model(sums: Sums) -> PanelModel:
    """The sums as a document."""
    data = {name: value for name, value in asdict(sums).items() if name != "loose"}
    loose = [_loose(each) for each in sums.loose]
    return PanelModel.model_validate({**data, "loose": loose, "verdict": sums.verdict})


def _loose(each: Loose) -> LooseModel:
    return LooseModel(output=each.output.name, supplies=list(each.supplies))
