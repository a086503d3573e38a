"""Records made by hand, and the command line asked in JSON."""

from __future__ import annotations

import json
import re
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from valvelab.cli.main import main
from valvelab.records.stored import Entry, StoredFile, StoredItem, StoredRecord


def entry(
    serial: str | None = "Q4-017", day: str = "2026-03-14", readings: bytes = b"angle,lift", **more: object
) -> Entry:
    """A record made by hand, with its readings and a result."""
    result = json.dumps({"verdicts": []}).encode()
    files = {"lift.csv": ("readings", readings), "result-1-lobes.json": ("result", result)}
    record = StoredRecord.model_validate(
        {
            "recorded": "2026-03-15T08:00:00.000000+00:00",
            "date": day,
            "inspect": "lobes",
            "version": "0.2.0",
            "job_part": 0,
            "serial": serial,
            "temperature_degc": 20.4,
            "decision": "accept",
            "accepted": 2,
            "rejected": 0,
            "undecided": 0,
            "items": (StoredItem(item="1I", decision="accept"), StoredItem(item="1E", decision=None)),
            "files": tuple(
                StoredFile(name=name, role=role, sha256=sha256(data).hexdigest(), size=len(data))  # type: ignore[arg-type]
                for name, (role, data) in files.items()
            ),
            **more,
        }
    )
    return Entry.of(record, (data for _, data in files.values()))


def answer(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> dict[str, Any]:
    """A command's JSON."""
    assert main(["records", *words, "--json", "--quiet"]) == code, capsys.readouterr().err
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


TRAY = """# part: Quillmere valve springs
# serial: QF-S-2
# operator: bench two
# temperature: 20.4 degC
# date: 2026-03-14
# instrument: lever tester
# calibrated: 2025-03-01
# calibration due: 2026-03-01
# installed height: 38.00 mm
# valve lift: 10.60 mm
# force uncertainty: 0.6 N
# height uncertainty: 0.02 mm
spring,height [mm],force [N]
"""
TRAY_SPEC = """title = "Quillmere springs"
revision = "C"
[[limit]]
of = "seat_force"
min = "235 N"
max = "260 N"
"""


def lay_springs(folder: Path, *seat_forces: float, **preamble: str) -> tuple[Path, Path]:
    """Readings of springs of 30 N/mm with these seat forces, and their spec; both in a folder."""
    text = TRAY
    for key, value in preamble.items():
        text = re.sub(rf"(?m)^# {key}: .*$", f"# {key}: {value}", text)
    rows = [
        f"Q{number:02},{height:.2f},{force + 30.0 * (38.0 - height):.1f}"
        for number, force in enumerate(seat_forces, start=1)
        for height in (40.0, 38.0, 34.0, 30.0, 27.0)
    ]
    readings, spec = folder / "tray.csv", folder / "tray.toml"
    readings.write_text(text + "\n".join(rows) + "\n", encoding="utf-8")
    spec.write_text(TRAY_SPEC, encoding="utf-8")
    return readings, spec
