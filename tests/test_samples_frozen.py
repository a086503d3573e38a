"""What every sample gives with `--json` is frozen: a change of the code changes no figure, name or order unasked.

Text, order and shape must be the same to the letter; figures to the last digits that another processor or another
release of numpy may turn (`exactly` in `VALVELAB_FROZEN` asks for every byte). `VALVELAB_APPROVE=1` writes them anew.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from valvelab import __version__
from valvelab.cli.main import main

ROOT = Path(__file__).resolve().parent.parent
FROZEN = Path(__file__).resolve().parent / "frozen"
FOUR, V8, TRAY = "quillmere_four_camshaft.csv", "lake_v8_camshaft.csv", "springs_quillmere_tray.csv"
WITHIN = ("--within", "seat_force=6 N", "--within", "rate=0.6 N/mm")

COMMANDS: dict[str, tuple[str, ...]] = {
    "lobes_four": ("lobes", FOUR, "--spec", "quillmere_four_camshaft.toml"),
    "lobes_four_plain": ("lobes", FOUR),
    "lobes_v8": ("lobes", V8, "--spec", "lake_v8_camshaft.toml"),
    "shaft": ("shaft", "club_four_journals.csv", "--spec", "club_four_shaft_spec.toml"),
    "journal_trace": ("texture", "hydroplane_journal_trace.smd"),
    "texture": ("texture", "club_four_lobe_3I_trace.csv", "--spec", "club_four_shaft_spec.toml"),
    "springs": ("springs", TRAY, "--spec", "springs_quillmere_spec.toml"),
    "sets": ("sets", TRAY, "--spec", "springs_quillmere_spec.toml", "--size", "8", *WITHIN, "--quick"),
    "shims": ("shims", TRAY, "--heights", "springs_quillmere_heights.csv"),
    "lash": ("lash", "lake_tender_lash.csv"),
    "phasing": ("phasing", "quillmere_four_degree_wheel.toml", "--spec", "quillmere_four_engine.toml"),
    "phasing_misread": ("phasing", "quillmere_four_degree_wheel_misread.toml"),
    "lift_check": ("liftcheck", "quillmere_spring_meeting.toml"),
    "motion_four": ("motion", FOUR, "--train", "quillmere_four_train.toml", "--spec", "quillmere_four_engine.toml"),
    "motion_v8": ("motion", V8, "--train", "lake_v8_train.toml"),
    "compare_lobes": ("compare", FOUR, "quillmere_four_after_a_season.csv", "--spec", "quillmere_four_season.toml"),
    "compare_springs": (
        "compare",
        TRAY,
        "springs_quillmere_after_a_season.csv",
        "--spec",
        "springs_quillmere_season.toml",
    ),
    "gauge": ("gauge", "dial_gauge_study.csv", "--tolerance", "0.05 mm"),
}


def same(found: object, frozen: object, place: str = "") -> None:
    if isinstance(frozen, dict):
        assert isinstance(found, dict), place
        assert list(found) == list(frozen), place
        for key, value in frozen.items():
            same(found[key], value, f"{place}.{key}")
    elif isinstance(frozen, list):
        assert isinstance(found, list), place
        assert len(found) == len(frozen), place
        for number, (one, other) in enumerate(zip(found, frozen, strict=True)):
            same(one, other, f"{place}[{number}]")
    elif isinstance(frozen, float):
        assert found == pytest.approx(frozen, rel=1e-5, abs=1e-7), place
    else:
        assert found == frozen, place


@pytest.mark.parametrize("name", COMMANDS)
def test_sample_gives_what_it_gave(
    name: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT / "sample_profiles")
    code = main([*COMMANDS[name], "--json"])
    text = capsys.readouterr().out.replace(f'"{__version__}"', '"of this program"')
    kept = FROZEN / f"{name}.json"
    if os.environ.get("VALVELAB_APPROVE"):
        kept.write_text(text, encoding="utf-8")
    assert code in {0, 1, 4}
    frozen = kept.read_text(encoding="utf-8")
    if os.environ.get("VALVELAB_FROZEN") == "exactly":
        assert text == frozen
    same(json.loads(text), json.loads(frozen))


def test_every_frozen_sample_is_asked_for() -> None:
    assert {path.stem for path in FROZEN.glob("*.json")} == set(COMMANDS)
