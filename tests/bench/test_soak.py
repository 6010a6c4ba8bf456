"""Two thousand random actions on one bench: nothing raises, and what must hold goes on holding."""

from __future__ import annotations

from pathlib import Path

import pytest

from rungs.bench.session.session import Session
from tests.bench.driver import Driven, Driver, work_at
from tests.bench.panels import START, Hands

ACTIONS = 220  # of one person at random


@pytest.mark.slow
@pytest.mark.parametrize("seed", [11])
async def test_random_actions_leave_text_and_panel_in_step(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RUNGS_STATE", str(tmp_path / "state"))
    monkeypatch.chdir(tmp_path)
    hands = Hands()
    work = work_at(tmp_path)
    assert work.program is not None
    app = Driven(Session(work.program, START), work, clock=hands)
    async with app.run_test(size=(80, 24)) as pilot:
        app.animation_level = "none"
        await pilot.pause()
        driver = Driver(app, hands, seed)
        for number in range(ACTIONS):
            await driver.act()
            for _ in range(driver.chance.choice((1, 1, 2, 5))):
                await driver.frame()
            if number % 20 == 0:
                driver.check()
        driver.check()
    # a person that was kept in one dialog would have shown nothing
    done = driver.done
    assert len([key for key in done if "." in key]) > 30, done
    assert done["Menu"] > 2
    assert done["write"] > 2
