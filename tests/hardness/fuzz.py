"""Spoilt case folders, read: a case or faults, never another error and nothing written.

``python tests/hardness/fuzz.py [MANY]`` (default 200) makes them as ``tests/read/test_case_fuzz.py`` does.
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

from hypothesis import HealthCheck, given, settings

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS.parent), str(TESTS), str(TESTS / "read")]

from test_case_fuzz import check, read, spoilt  # noqa: E402

from repairecon.records import CaseError  # noqa: E402


def main(many: int) -> None:
    """Read so many; the first that ends otherwise stops it with what was in the folder."""
    seen: Counter[str] = Counter()

    @settings(max_examples=many, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    @given(spoilt())
    def one(files: dict[str, bytes]) -> None:
        result = read(files)
        check(result)
        seen["faults told" if isinstance(result, CaseError) else "a case"] += 1

    one()
    counts = ", ".join(f"{n} {what}" for what, n in sorted(seen.items()))
    print(f"{seen.total()} spoilt folders: {counts}, no other error")


if __name__ == "__main__":
    main(int(sys.argv[1]) if sys.argv[1:] else 200)
