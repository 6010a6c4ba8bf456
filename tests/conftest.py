"""Settings for every test: hypothesis profiles, and an environment that changes no output."""

from __future__ import annotations

import os

import pytest
from hypothesis import HealthCheck, settings

# The same examples on every run where a result must not depend on luck; fresh ones at a desk.
settings.register_profile(
    "ci",
    max_examples=60,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile(
    "desk",
    max_examples=60,
    deadline=None,
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("ci" if os.environ.get("CI") else "desk")


@pytest.fixture(autouse=True)
def plain_environment(
    monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Colours, widths and themes of the machine that runs the tests change nothing in them, and
    what is kept between runs is kept for the tests alone."""
    monkeypatch.setenv("RUNGS_CACHE", str(tmp_path_factory.getbasetemp() / "kept"))
    monkeypatch.setenv("RUNGS_STATE", str(tmp_path_factory.getbasetemp() / "state"))
    monkeypatch.setenv("RUNGS_KEYS", str(tmp_path_factory.getbasetemp() / "keys.toml"))
    for name in list(os.environ):
        if name in ("NO_COLOR", "FORCE_COLOR", "COLUMNS", "LINES") or name.startswith("TEXTUAL"):
            monkeypatch.delenv(name)
