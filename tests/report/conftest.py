from __future__ import annotations

import pytest

from huehold.run import Run
from tests.report.factory import make_run


@pytest.fixture(scope="session")
def run() -> Run:
    """Return a short run that ended at an endpoint, with masses and an assay."""
    return make_run(length_s=120.0, count=6, pictures=8)


@pytest.fixture(scope="session")
def bare_run() -> Run:
    """Return a run without masses, assay, warnings or endpoint."""
    return make_run(
        length_s=100.0, count=3, kind="not_reached", masses=False, pictures=0, warnings=()
    )
