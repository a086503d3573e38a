"""Whatever bay writes a certificate, it carries all that its result depends on, and it verifies."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from papers import carried_files
from waiting import wait_for

from valvelab.cli.main import main
from valvelab.errors import BadFile, CannotEvaluate
from valvelab.job.certificates import Shown
from valvelab.places import sample_profiles
from valvelab.window.bays.springs_view import SpringsView
from valvelab.window.main_window import MainWindow
from valvelab.workbench.sets import SpringsState

SAMPLES = sample_profiles()
BAYS = ("lobes", "motion", "phasing")


@pytest.fixture
def bench(window: MainWindow, tmp_path: Path) -> MainWindow:
    """A cylinder's lobes, its train and its degree wheel, judged by a spec with an envelope and limits for each."""
    rows = (SAMPLES / "quillmere_four_camshaft.csv").read_text(encoding="utf-8").splitlines()
    kept = [row if row.startswith("#") else ",".join(row.split(",")[:3]) for row in rows]
    (tmp_path / "camshaft.csv").write_text("\n".join(kept) + "\n", encoding="utf-8")
    nominals = tmp_path / "drawings"
    nominals.mkdir()
    name = "quillmere_four_nominal_intake.csv"
    (nominals / name).write_bytes((SAMPLES / name).read_bytes())
    (tmp_path / "spec.toml").write_text(
        f'[[envelope]]\nlobes = "intake"\nnominal = "drawings/{name}"\nfit = ["angle"]\n'
        '[[envelope.band]]\nfrom = -70\nto = 70\nbelow = "0.1 mm"\nabove = "0.1 mm"\n'
        '[[limit]]\nof = "max_lift"\nmin = "1 mm"\n[[limit]]\nof = "rule_lift"\nmax = "30 mm"\n'
        '[[limit]]\nof = "intake_centreline"\nnominal = 106\nbelow = 9\nabove = 9\n',
        encoding="utf-8",
    )
    files = [tmp_path / "camshaft.csv", tmp_path / "spec.toml", SAMPLES / "quillmere_four_train.toml",
             SAMPLES / "quillmere_four_degree_wheel.toml"]  # fmt: skip
    window.bench.add_files([str(path) for path in files])
    return window


@pytest.mark.parametrize("bay", BAYS)
def test_a_spec_with_an_envelope_is_carried_with_its_nominal(bench: MainWindow, tmp_path: Path, bay: str) -> None:
    bench.bay_actions[bay].trigger()
    target = tmp_path / "c.pdf"
    bench.save_certificate(target)
    assert target.is_file(), bench.bench.document.problems()
    carried = carried_files(target)
    assert any(name.endswith("quillmere_four_nominal_intake.csv") for name in carried)
    assert main(["verify", str(target), "--quiet"]) == 0
    result = json.loads(next(content for name, content in carried.items() if name.startswith("result-1")))
    assert result["command"] == bay


def test_the_window_writes_the_command_line_s_paper(bench: MainWindow, tmp_path: Path) -> None:
    from datetime import date

    spec = tmp_path / "spec.toml"
    own = spec.read_text(encoding="utf-8").partition('[[limit]]\nof = "rule_lift"')[0]
    spec.write_text(own, encoding="utf-8")  # all of it is on lobes
    bench.bench.read_again()
    bench.bay_actions["lobes"].trigger()
    bench.save_certificate(tmp_path / "window.pdf")
    words = ["certify", str(tmp_path / "camshaft.csv"), "--spec", str(tmp_path / "spec.toml")]
    day = date.today().isoformat()  # noqa: DTZ011 - the date on the wall, as the window takes it
    main([*words, "--out", str(tmp_path / "line.pdf"), "--date", day, "--quiet"])
    assert (tmp_path / "window.pdf").read_bytes() == (tmp_path / "line.pdf").read_bytes()


@pytest.mark.parametrize("bay", BAYS)
def test_paper_counts_what_the_window_counts(bench: MainWindow, tmp_path: Path, bay: str) -> None:
    from papers import page_texts

    shown = request_of(bench, bay).result
    bench.save_certificate(tmp_path / "c.pdf")
    carried = carried_files(tmp_path / "c.pdf")
    written = json.loads(next(content for name, content in carried.items() if name.startswith("result-1")))
    on_paper = [(row["characteristic"], row["item"], row["decision"]) for row in written["verdicts"]]
    assert on_paper == [(row.characteristic, row.item, row.decision) for row in shown.verdicts]
    front = " ".join(page_texts(tmp_path / "c.pdf")[0].split())
    assert front.count("not judged on this certificate") == 2, front
    assert "no part of this job judges it" not in front


def request_of(bench: MainWindow, bay: str) -> Shown:
    from valvelab.workbench import bays

    bench.bay_actions[bay].trigger()
    known = bays.by_name(bay)
    assert known is not None
    document = bench.bench.document
    return bays.work_of(bay).certificate(document, bays.answer_value(document, known))


def test_a_file_that_changed_since_is_refused(bench: MainWindow, tmp_path: Path) -> None:
    from valvelab.job.certificates import write_shown

    request = request_of(bench, "lobes")
    table = tmp_path / "camshaft.csv"
    table.write_text(table.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    with pytest.raises(BadFile, match=r"camshaft\.csv: found another content than was inspected"):
        write_shown(request, tmp_path / "c.pdf", "metric", "2026-03-05")
    assert not (tmp_path / "c.pdf").exists()


def test_a_paper_that_would_say_something_else_is_refused(bench: MainWindow, tmp_path: Path) -> None:
    from dataclasses import replace

    from valvelab.job.certificates import write_shown

    request = request_of(bench, "lobes")
    request = replace(request, part=request.part.model_copy(update={"keep_eccentricity": True}))
    with pytest.raises(CannotEvaluate, match="would not say what the window shows"):
        write_shown(request, tmp_path / "c.pdf", "metric", "2026-03-05")
    assert not (tmp_path / "c.pdf").exists()


TRAY = "springs_quillmere_tray.csv"


def match(springs: SpringsView) -> None:
    """Match the sets that are wanted."""
    springs.sets_pane.match_button.click()
    wait_for(lambda: not springs.sets_pane.run.running)


def test_a_paper_says_what_it_is_where_it_is_chosen(
    window: MainWindow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from papers import page_texts

    asked: list[tuple[str, str]] = []
    monkeypatch.setattr(
        "valvelab.window.saving.QFileDialog.getSaveFileName",
        lambda _parent, title, name, _kinds: (asked.append((title, Path(name).name)), ("", ""))[1],
    )
    rows = (f"A{number},{force}.0,{force + 150}.0,{force + 300}.0\n" for number, force in enumerate((300, 301, 330)))
    (tmp_path / "tray.csv").write_text(
        "# installed height: 40 mm\n# valve lift: 10 mm\n# force uncertainty: 0.2 N\n"
        "spring,40 mm [N],35 mm [N],30 mm [N]\n" + "".join(rows),
        encoding="utf-8",
    )
    (tmp_path / "tray.toml").write_text('[[limit]]\nof = "seat_force"\nmax = "310 N"\n', encoding="utf-8")
    names = ("quillmere_four_degree_wheel.toml", "quillmere_four_camshaft.csv", "quillmere_four_camshaft.toml")
    files = [*(SAMPLES / name for name in names), tmp_path / "tray.csv", tmp_path / "tray.toml"]
    window.bench.add_files([str(path) for path in files])
    for bay, page in (("lobes", ""), ("phasing", ""), ("springs", "springs"), ("springs", "sets")):
        window.bay_actions[bay].trigger()
        if page == "springs":
            window.bench.set(SpringsState, page="springs")
        if page == "sets":
            window.bench.set(SpringsState, page="sets", size=2, limits={"seat_force": 5.0})
            front = window.pages.front()
            assert isinstance(front, SpringsView)
            match(front)
        window.actions_by_name["certificate"].trigger()
        what = window.actions_by_name["certificate"].text().replace("&", "").removeprefix("Save ").rstrip("…")
        assert asked[-1][0] == f"Save {what}"
        assert what in asked[-1][1]
    assert [name for _, name in asked] == [
        "quillmere_four_camshaft camshaft certificate.pdf",
        "quillmere_four_degree_wheel phasing certificate.pdf",
        "tray valve springs certificate.pdf",
        "tray matched spring sets certificate.pdf",
    ]
    window.save_certificate(tmp_path / "sets.pdf")
    front_page = page_texts(tmp_path / "sets.pdf")[0]
    assert "Rejected by the spec, so not used: A2" in front_page
    assert "The springs' own verdicts are on the springs certificate of these readings." in front_page
    assert "No limit of a spec applied" not in front_page
    assert main(["verify", str(tmp_path / "sets.pdf"), "--quiet"]) == 0


def test_files_are_offered_beside_those_on_the_bench(window: MainWindow, tmp_path: Path) -> None:
    place = Path(window.bench.suggested("paper.pdf"))
    assert place.parent.is_absolute()
    assert place.parent != Path.cwd()
    window.bench.add_files([str(SAMPLES / TRAY)])
    assert SAMPLES not in Path(window.bench.suggested("paper.pdf")).parents, "the program's own folder"
    (tmp_path / "tray").mkdir()
    own = tmp_path / "tray" / "own.csv"
    own.write_bytes((SAMPLES / TRAY).read_bytes())
    window.bench.add_files([str(own)])
    assert Path(window.bench.suggested("paper.pdf")) == tmp_path / "tray" / "paper.pdf"
