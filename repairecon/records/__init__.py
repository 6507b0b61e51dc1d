"""The nouns of the trade as frozen records, and the errors. Standard library only in this room."""

from __future__ import annotations

from repairecon.records.base import *  # noqa: F403
from repairecon.records.case import *  # noqa: F403
from repairecon.records.done import *  # noqa: F403
from repairecon.records.spares import *  # noqa: F403
from repairecon.records.standards import *  # noqa: F403
from repairecon.records.supply import *  # noqa: F403
