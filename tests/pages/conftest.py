"""What the tests of pages share: a browser, and the report of the sample run."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from optimiser.report import Report
from optimiser.report_page import write_report
from optimiser.runs import Run

SAMPLE = Path(__file__).parents[2] / "runs" / "sample"


@pytest.fixture(scope="session")
def sample_run(tmp_path_factory: pytest.TempPathFactory) -> Report:
    """The sample run ready to be told, three candidates drawn."""
    folder = tmp_path_factory.mktemp("runs") / "sample"
    shutil.copytree(SAMPLE, folder)
    run = Run(folder)
    problem = run.load()
    return Report(run, problem, run.ranked(problem.goals.search.keep), 3)


@pytest.fixture(scope="session")
def sample_report(sample_run: Report) -> Path:
    """The report of the sample run."""
    return Path(write_report(sample_run)["file"])
