"""A short run of what is used hard by hand: spoiled files end in a verdict or one sentence."""

from __future__ import annotations

from pathlib import Path

from hard_use.fuzz import CASES, run

#: so that a run of every case is new from time to time, and yet the same everywhere
SEED = 4_000_000


def test_spoiled_files_end_in_a_verdict_or_a_sentence(tmp_path: Path) -> None:
    found = list(run(2 * len(CASES), SEED, tmp_path, workers=1))
    assert sum(done for done, _ in found) == 2 * len(CASES)
    assert [fault for _, faults in found for fault in faults] == []
