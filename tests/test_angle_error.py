"""What is not known of the angles is said, and what is stated of them enters all that it moves."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from lobe_samples import design, turn

from valvelab.cli.main import main

STATED = "# encoder uncertainty: 0.05 cam deg\n"
MOVED = {
    "centre": 'of = "centre"\nnominal = 100.3\n',
    "opening": 'of = "opening"\nat = "1.27 mm"\nnominal = 48.0\n',
    "closing": 'of = "closing"\nat = "1.27 mm"\nnominal = 148.0\n',
    "duration": 'of = "duration"\nat = "1.27 mm"\nnominal = 200.0\n',
    "area": 'of = "area"\nnominal = 500.0\n',
    "velocity_max": 'of = "velocity_max"\nnominal = 0.2\n',
    "acceleration_min": 'of = "acceleration_min"\nnominal = -0.01\n',
}
SPEC = "".join(f"[[limit]]\n{text}below = 400\nabove = 400\n" for text in MOVED.values()) + (
    '[[limit]]\nof = "max_lift"\nnominal = 8.0\nbelow = 1\nabove = 1\n'
    '[[envelope]]\nnominal = "nominal.csv"\n[[envelope.band]]\nfrom = -50\nto = 50\nbelow = 1\nabove = 1\n'
)


def written(path: Path, preamble: str, sweeps: int = 1, slip_cam_deg: float = 0.0) -> Path:
    angle = turn(360)
    rng = np.random.default_rng(4)
    rows = [
        f"{a:.9g},{y:.9g}"
        for sweep in range(sweeps)
        for a, y in zip(
            angle,
            design("poly345").value(angle - slip_cam_deg * (sweep - 0.5 * (sweeps - 1))) + rng.normal(0, 1e-3, 360),
            strict=True,
        )
    ]
    path.write_text(preamble + "angle [cam deg],1I [mm]\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def found(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Callable[..., Any]:
    def answer(preamble: str, **how: Any) -> Any:
        written(tmp_path / "nominal.csv", "")
        table = written(tmp_path / "lift.csv", preamble, **how)
        (tmp_path / "spec.toml").write_text(SPEC, encoding="utf-8")
        assert main(["lobes", str(table), "--spec", str(tmp_path / "spec.toml"), "--json"]) == 0
        return json.loads(capsys.readouterr().out)

    return answer


def warned(document: Any) -> bool:
    return any(note["level"] == "warning" and note["about"] == "angle" for note in document["notes"])


def test_an_angle_uncertainty_that_nobody_states_is_said_and_marked(found: Callable[..., Any]) -> None:
    document = found("")
    assert warned(document)
    reasons = {row["characteristic"]: row["reason"] for row in document["verdicts"]}
    assert {name for name, reason in reasons.items() if reason} == {*MOVED, "envelope"}
    assert all("angle" in reason for reason in reasons.values() if reason)
    assert {row["decision"] for row in document["verdicts"]} == {"accept"}


def test_a_stated_one_is_not_marked(found: Callable[..., Any]) -> None:
    document = found(STATED)
    assert not warned(document)
    assert {row["reason"] for row in document["verdicts"]} == {None}


def test_sweeps_that_show_it_stand_for_a_statement(found: Callable[..., Any]) -> None:
    assert not warned(found("", sweeps=4, slip_cam_deg=0.05))
    assert warned(found("", sweeps=4))
