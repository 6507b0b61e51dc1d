"""A job that has been closed: the case as it was decided, the decision, and what then happened."""

from __future__ import annotations

import os
from dataclasses import dataclass

from repairecon.read.actual import read_actual
from repairecon.read.case_folder import read_case
from repairecon.read.frozen import read_decision
from repairecon.read.problems import Problems, shown
from repairecon.records import Actual, Case, Decision


@dataclass(frozen=True)
class Closed:
    """A closed job; ``case`` is the frozen one."""

    name: str
    case: Case
    decision: Decision
    actual: Actual


def read_closed(folder: str | os.PathLike[str]) -> Closed:
    """Read a closed job.

    Parameters
    ----------
    folder
        Folder of the case, with ``decided`` and ``actual.csv`` in it.

    Returns
    -------
    Closed
        The frozen case, the decision, what happened.

    Raises
    ------
    CaseError
        With every fault of the decision, else of the case, else of ``actual.csv``.
    """
    decision = read_decision(folder)
    case = read_case(decision.folder)
    if decision.way not in {w.way for w in case.ways}:
        problems = Problems()
        problems.add("decided/decision.toml", None, "way", shown(decision.way), "name a way of the case")
        problems.stop_if_any()
    name = os.path.basename(os.path.realpath(folder))  # noqa: PTH119
    return Closed(name, case, decision, read_actual(folder, case))
