"""A spec over a whole job: every limit is judged by some part, or is an undecided row on the paper."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from valvelab.cli.main import main
from valvelab.inspection.spec_answers import Answer, settled, settled_alone
from valvelab.places import sample_profiles
from valvelab.records.lobes_result import LobesResult
from valvelab.records.result import Result, Verdict, warning
from valvelab.records.spec import Spec

LIFT = {"of": "max_lift", "lobes": "exhaust", "max": 7.0, "clause": "4.1"}
FORCE = {"of": "seat_force", "min": "200 N"}


def row(name: str, item: str, measured: float | None, unit: str, **more: object) -> Verdict:
    decision = "undecided" if measured is None else "accept"
    return Verdict.model_validate({
        "characteristic": name, "item": item, "measured": measured, "unit": unit, "standard_uncertainty": None,
        "probability_conforming": None, "decision": decision, **more,
    })  # fmt: skip


def answer(command: str, spec: Spec, *rows: Verdict, file: str = "spec.toml") -> Answer:
    notes = tuple(warning(f"{one.item} {one.characteristic}", "undecided: x") for one in rows if one.measured is None)
    return Answer(command, Result(command=command, verdicts=rows, notes=notes), spec, file)


def told(results: list[Result]) -> list[list[tuple[str, str, str]]]:
    return [[(one.characteristic, one.item, one.decision) for one in result.verdicts] for result in results]


def test_a_limit_that_no_part_judges_is_an_undecided_row() -> None:
    spec = Spec.model_validate({"limit": [LIFT, FORCE]})
    lobes = answer("lobes", spec, row("max_lift", "1E", 6.9, "mm", upper=7.0, clause="4.1"))
    assert told(settled([lobes])) == [[("max_lift", "1E", "accept"), ("seat_force", "all", "undecided")]]
    (result,) = settled([lobes])
    assert result.verdicts[1].reason == "[[limit]] 2: no part of this job judges it (of a spring)"
    assert (result.verdicts[1].lower, result.verdicts[1].unit) == (200.0, "N")
    springs = answer("springs", spec, row("seat_force", "Q1", 250.0, "N", lower=200.0))
    assert told(settled([lobes, springs])) == [
        [("max_lift", "1E", "accept")],
        [("seat_force", "Q1", "accept")],
    ]


def test_limits_of_other_parts_are_told_on_a_paper_that_is_not_the_whole_job() -> None:
    spec = Spec.model_validate({"limit": [LIFT, FORCE, {**FORCE, "max": "300 N"}]})
    lobes = answer("lobes", spec, row("max_lift", "1E", 6.9, "mm", upper=7.0, clause="4.1"))
    (result,) = settled_alone([lobes])
    assert told([result]) == [[("max_lift", "1E", "accept")]]
    assert [(note.level, note.text) for note in result.notes] == [
        ("info", "2 limits of this spec are on springs: not judged on this certificate")
    ]
    # what is its own and was not measured stays open
    gone = answer("lobes", spec, row("max_lift", "3E", None, "mm", upper=7.0, clause="4.1"))
    assert told(settled_alone([gone])) == [[("max_lift", "3E", "undecided")]]


def test_what_one_part_lacks_another_may_have() -> None:
    # an intake and an exhaust camshaft inspected as two parts by one spec
    spec = Spec.model_validate({"limit": [LIFT]})
    intake = answer("lobes", spec, row("max_lift", "exhaust", None, "mm", upper=7.0, clause="4.1"))
    exhaust = answer("lobes", spec, row("max_lift", "1E", 6.9, "mm", upper=7.0, clause="4.1"))
    results = settled([intake, exhaust])
    assert told(results) == [[], [("max_lift", "1E", "accept")]]
    assert results[0].notes == ()
    # a named lobe that is missing is not answered by another lobe
    named = answer("lobes", spec, row("max_lift", "3E", None, "mm", upper=7.0, clause="4.1"))
    assert told(settled([named, exhaust]))[0] == [("max_lift", "3E", "undecided")]


def test_a_spec_of_its_own_is_answered_by_its_own_parts() -> None:
    spec, other = Spec.model_validate({"limit": [LIFT]}), Spec.model_validate({"limit": [FORCE]})
    lobes = answer("lobes", spec, row("max_lift", "1E", 6.9, "mm", upper=7.0, clause="4.1"))
    springs = answer("springs", other, file="other.toml")
    assert told(settled([lobes, springs])) == [[("max_lift", "1E", "accept")], [("seat_force", "all", "undecided")]]


def test_an_envelope_belongs_to_a_lift_table() -> None:
    envelope = {"nominal": "n.csv", "band": [{"from": -60, "to": 60, "below": 0.1, "above": 0.1}], "clause": "5"}
    spec = Spec.model_validate({"envelope": [envelope]})
    (result,) = settled([answer("phasing", spec)])
    assert [(one.characteristic, one.decision, one.clause) for one in result.verdicts] == [
        ("envelope", "undecided", "5")
    ]
    assert told(settled([answer("phasing", spec), answer("lobes", spec)])) == [[], []]


def test_planning_by_a_spec_judges_nothing_and_says_so() -> None:
    (result,) = settled([answer("sets", Spec.model_validate({"limit": [FORCE]}))])
    assert result.verdicts == ()
    assert "[[limit]] 1 seat_force: no part of this job judges by the spec" in result.notes[0].text


BARE = {"of": "opening", "at": 1.27, "lobes": ["1I"], "min": -5, "max": 20}


@pytest.mark.parametrize(
    ("command", "unit", "more", "decision"),
    [
        ("lobes", "cam deg", {}, "undecided"),
        ("motion", "crank deg", {}, "undecided"),
        ("phasing", "crank deg", {}, "accept"),
    ],
)
def test_an_event_that_parts_judge_in_different_meanings_is_decided_by_none(
    command: str, unit: str, more: dict[str, object], decision: str
) -> None:
    spec = Spec.model_validate({"limit": [{**BARE, **more}]})
    wheel = answer("phasing", spec, row("opening", "1I", 9.25, "crank deg", at_mm=1.27, lower=-5.0, upper=20.0))
    other = answer(command, spec, row("opening", "1I", -3.6, unit, at_mm=1.27, lower=-5.0, upper=20.0))
    results = settled([wheel, other])
    assert [one.verdicts[0].decision for one in results] == [decision] * 2
    if decision == "undecided":
        assert "lift_at" in str(results[0].verdicts[0].reason)
        assert "crank deg from dead centre at the follower" in str(results[0].verdicts[0].reason)


def test_no_spec_no_change() -> None:
    result = LobesResult.model_construct(verdicts=(), notes=())
    assert settled([Answer("lobes", result)]) == [result]


WHOLE_ENGINE = """
title = "Quillmere club four, whole engine"
[[limit]]
of = "max_lift"
max = "7.2 mm"
[[limit]]
of = "opening"
at = "1.27 mm"
lobes = ["1I"]
{meaning}
nominal = "{opening}"
below = 12
above = 12
[[limit]]
of = "rule_lift"
max = "11.5 mm"
[[limit]]
of = "seat_force"
min = "200 N"
[[envelope]]
lobes = "intake"
nominal = "quillmere_four_nominal_intake.csv"
band = [{{ from = -70.0, to = 70.0, below = "0.1 mm", above = "0.1 mm" }}]
"""
PARTS = {
    "lobes": ('"quillmere_four_camshaft.csv"', ""),
    "phasing": ('"quillmere_four_degree_wheel.toml"', ""),
    "motion": ('"quillmere_four_camshaft.csv"', 'options = ["--train=quillmere_four_train.toml", "--no-dynamics"]\n'),
}


def job(folder: Path, *commands: str, meaning: str = "", opening: str = "9 BTDC") -> Path:
    for name in (
        "quillmere_four_camshaft.csv",
        "quillmere_four_degree_wheel.toml",
        "quillmere_four_train.toml",
        "quillmere_four_nominal_intake.csv",
    ):
        shutil.copy(sample_profiles() / name, folder / name)
    (folder / "engine.toml").write_text(WHOLE_ENGINE.format(meaning=meaning, opening=opening))
    parts = [
        f'[[part]]\ninspect = "{name}"\nfile = {PARTS[name][0]}\nspec = "engine.toml"\n{PARTS[name][1]}'
        for name in commands
    ]
    (folder / "job.toml").write_text("\n".join(parts))
    return folder / "job.toml"


def certified(capsys: pytest.CaptureFixture[str], path: Path) -> tuple[int, list[dict]]:
    paper = path.parent / "paper.pdf"
    code = main(["certify", str(path), "--out", str(paper), "--json", "--quiet"])
    rows = json.loads(capsys.readouterr().out)["verdicts"]
    assert main(["verify", str(paper), "--quiet"]) == 0
    capsys.readouterr()
    return code, rows


def test_a_job_leaves_no_limit_of_a_whole_engine_unsaid(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, rows = certified(capsys, job(tmp_path, "lobes", "phasing", "motion", meaning='lift_at = "follower"'))
    assert code == 4
    undecided = [(one["characteristic"], one["item"]) for one in rows if one["decision"] == "undecided"]
    assert undecided == [("seat_force", "all")]
    assert {one["characteristic"] for one in rows} == {"max_lift", "opening", "rule_lift", "seat_force", "envelope"}
    assert [one["measured"] for one in rows if one["characteristic"] == "opening"] == [pytest.approx(3.8125)]


def test_a_job_does_not_judge_one_event_in_two_meanings(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _, rows = certified(capsys, job(tmp_path, "lobes", "phasing", "motion", opening="9"))
    found = [(one["unit"], one["decision"]) for one in rows if one["characteristic"] == "opening"]
    assert found == [("cam deg", "undecided"), ("crank deg", "undecided"), ("crank deg", "undecided")]


def test_paper_of_one_inspection_says_what_it_did_not_judge(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job(tmp_path, "phasing")
    arguments = ["phasing", str(tmp_path / "quillmere_four_degree_wheel.toml"), "--spec", str(tmp_path / "engine.toml")]
    assert main([*arguments, "--json", "--quiet"]) == 0
    capsys.readouterr()
    assert main([*arguments, "--out", str(tmp_path / "paper.pdf"), "--quiet"]) == 4
    capsys.readouterr()
    code, rows = certified(capsys, job(tmp_path, "phasing"))
    assert code == 4
    assert [(one["characteristic"], one["decision"]) for one in rows] == [
        ("opening", "accept"),
        ("max_lift", "undecided"),
        ("rule_lift", "undecided"),
        ("seat_force", "undecided"),
        ("envelope", "undecided"),
    ]
