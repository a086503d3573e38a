"""Lash set by shims: the rule's arithmetic, every choice of small cases, and the command as a user calls it."""

from __future__ import annotations

import csv
import json
from itertools import permutations
from math import hypot
from pathlib import Path
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader
from something import each

from valvelab.cli.main import main
from valvelab.errors import CannotEvaluate
from valvelab.files.lash_sheet import read_lash
from valvelab.inspection.engine.lash import evaluate_lash, inspect_lash, solve_lash
from valvelab.records.lash import LashResult, LashTable
from valvelab.valve_motion.lash import BOUGHT, HEAD, SHELF, ShimPool, choose_lash_shims, wanted_shim
from valvelab.workbench import edits
from valvelab.workbench.contents import read_content
from valvelab.workbench.document import Document

PREAMBLE = ("intake lash: 0.20 mm ± 0.03 mm", "exhaust lash: 0.23 mm to 0.29 mm", "feeler uncertainty: 0.008 mm")


def sheet(tmp_path: Path, *rows: str, preamble: tuple[str, ...] = PREAMBLE, head: str = "") -> Path:
    """A lash sheet; without another head in mm."""
    path = tmp_path / "lash.csv"
    lines = [*(f"# {line}" for line in preamble), head or "valve,clearance [mm],shim [mm]", *rows]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def table(tmp_path: Path, *rows: str, preamble: tuple[str, ...] = PREAMBLE) -> LashTable:
    return read_lash(sheet(tmp_path, *rows, preamble=preamble))


def test_a_wide_clearance_wants_a_thicker_shim() -> None:
    # common practice, no source: new shim = fitted shim + (clearance measured - clearance wanted)
    assert wanted_shim(0.31, 2.60, 0.20) == pytest.approx(2.71)
    assert wanted_shim(0.12, 2.60, 0.20) == pytest.approx(2.52)


def ranks(chosen: tuple[int, ...], wanted: np.ndarray, room: np.ndarray, pool: ShimPool) -> tuple[float, ...]:
    """Out of band, bought, from the shelf, touched, squared distance."""
    at = list(chosen)
    off = np.abs(pool.size_mm[at] - wanted)
    return (
        int((off > room + 1e-9).sum()), int((pool.origin[at] == BOUGHT).sum()), int((pool.origin[at] == SHELF).sum()),
        int((pool.valve[at] != np.arange(wanted.size)).sum()), round(float((off**2).sum()), 9),
    )  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.integers(2, 4))
def test_small_heads_against_every_choice(seed: int, valves: int) -> None:
    generator = np.random.default_rng(seed)
    head = np.round(generator.uniform(2.4, 2.9, valves), 2)
    other = np.round(generator.uniform(2.4, 2.9, 4), 2)
    wanted = head[generator.permutation(valves)] + generator.normal(0.0, 0.03, valves)
    origin, valve = np.array([HEAD] * valves + [SHELF, SHELF, BOUGHT, BOUGHT]), np.arange(valves + 4)
    pool = ShimPool(np.concatenate([head, other]), origin, np.where(valve < valves, valve, -1))
    room = np.full(valves, 0.03)
    chosen = tuple(int(one) for one in choose_lash_shims(wanted, (room, room), pool))
    assert len(set(chosen)) == valves
    best = min(ranks(one, wanted, room, pool) for one in permutations(range(valves + 4), valves))
    assert ranks(chosen, wanted, room, pool) == pytest.approx(best, abs=1e-8)


def test_shims_change_places_before_any_is_bought(tmp_path: Path) -> None:
    sold = (*PREAMBLE, "shims sold: 2.00 mm to 3.20 mm by 0.05 mm", "shims: 2.60 mm x 1")
    found = inspect_lash(table(tmp_path, "1I,0.30,2.50", "2I,0.10,2.60", "3I,0.21,2.55", preamble=sold)).result
    rows = [(row.shim_mm, row.origin, row.from_valve) for row in found.valves]
    assert rows == [(2.6, "head", "2I"), (2.5, "head", "1I"), (2.55, "stays", None)]
    assert [row.lash_mm for row in found.valves] == pytest.approx([0.20, 0.20, 0.21])
    assert (found.purchases, found.spare_mm) == ((), ())
    # a shelf of one serves one valve; the next has to be bought
    found = inspect_lash(table(tmp_path, "1I,0.30,2.50", "2I,0.30,2.50", preamble=sold)).result
    assert sorted(row.origin for row in found.valves) == ["bought", "shelf"]
    assert [one.model_dump() for one in found.purchases] == [{"size_mm": 2.6, "count": 1}]
    assert found.spare_mm == (2.5, 2.5)


def test_the_chance_is_the_normal_distribution_s(tmp_path: Path) -> None:
    preamble = (*PREAMBLE, "micrometer uncertainty: 0.006 mm", "shims: 2.60 mm")
    found = inspect_lash(table(tmp_path, "1E,0.22,2.66", "2E,0.28,2.60", preamble=preamble)).result
    other, stays = found.valves
    # another shim: feeler and micrometer, once each; the shim that stays: the feeler alone
    assert other.uncertainty["lash_mm"] == pytest.approx(hypot(0.008, 0.006))
    assert stays.uncertainty["lash_mm"] == pytest.approx(0.008)
    for row in each((other, stays)):
        spread = NormalDist(row.lash_mm, row.uncertainty["lash_mm"] or 0.0)
        assert row.chance_in_band == pytest.approx(spread.cdf(0.29) - spread.cdf(0.23), abs=1e-12)
    assert other.lash_mm == pytest.approx(0.28)


def test_a_least_chance_asks_for_more_than_the_value(tmp_path: Path) -> None:
    row = "1I,0.225,2.50"
    at_hand = (*PREAMBLE, "shims: 2.52 mm")
    assert inspect_lash(table(tmp_path, row, preamble=at_hand)).result.valves[0].origin == "stays"
    surer = inspect_lash(table(tmp_path, row, preamble=(*at_hand, "least chance: 90 %"))).result
    assert (surer.valves[0].origin, surer.valves[0].in_band) == ("shelf", True)
    assert surer.valves[0].chance_in_band == pytest.approx(0.999, abs=1e-3)
    hopeless = inspect_lash(table(tmp_path, row, preamble=(*PREAMBLE, "least chance: 99.99 %"))).result
    assert not hopeless.valves[0].in_band
    assert any("with a chance of 99.99 %: 1I" in note.text for note in hopeless.notes)


def test_shims_chosen_by_hand_are_evaluated_without_a_search(tmp_path: Path) -> None:
    read = table(tmp_path, "1I,0.30,2.50", "2I,0.10,2.60", preamble=(*PREAMBLE, "shims: 2.70 mm x 1"))
    found = evaluate_lash(read, (2.7, 2.6))
    assert [(row.origin, row.in_band) for row in found.valves] == [("shelf", False), ("stays", False)]
    assert found.valves[0].lash_mm == pytest.approx(0.10)
    assert evaluate_lash(read, (2.7, 2.7)).refusals == ("2.7 mm fixed to '2I', a shim not to be had",)
    assert solve_lash(read, {"1I": 2.7}) == (2.7, 2.5)
    with pytest.raises(CannotEvaluate, match="a valve it does not have"):
        solve_lash(read, {"9I": 2.7})


def call(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    code = main(["lash", *(str(word) for word in words)])
    out, err = capsys.readouterr()
    return code, out, err


def test_the_command_answers_in_every_form(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = sheet(tmp_path, "1I,0.30,2.50", "1E,0.14,2.60")
    code, out, err = call(capsys, path, "--json")
    assert code == 0
    document = LashResult.model_validate_json(out)
    assert [row.from_valve for row in document.valves] == ["1E", "1I"]
    assert "micrometer uncertainty: not stated" in err
    told = call(capsys, path, "--quiet")[1]
    assert "2 valves out of the band: 2 moved between valves. Then 2 of 2 valves are in their band." in told
    shelved = sheet(tmp_path, "1I,0.30,2.50", "2I,0.30,2.50", preamble=(*PREAMBLE, "shims: 2.60 mm x 2"))
    assert "Onto the shelf: 2 × 2.500 mm." in call(capsys, shelved, "--quiet")[1]
    path = sheet(tmp_path, "1I,0.30,2.50", "1E,0.14,2.60")
    paper, rows, page = (tmp_path / name for name in ("a.pdf", "a.csv", "b.pdf"))
    assert call(capsys, path, "--quiet", "--out", paper, "--sheet", page)[0] == 0
    assert "Valve lash by shims" in PdfReader(paper).pages[0].extract_text()
    assert "out of 1E" in PdfReader(page).pages[0].extract_text()
    assert main(["verify", str(paper), "--quiet"]) == 0
    assert call(capsys, path, "--quiet", "--out", rows)[0] == 0
    first = next(csv.DictReader(rows.read_text(encoding="utf-8").splitlines()))
    assert (first["valve"], first["from_valve"], first["in_band"]) == ("1I", "1E", "true")
    fixed = json.loads(call(capsys, path, "--json", "--fix", "1I=2.50 mm")[1])
    assert [row["origin"] for row in fixed["valves"]] == ["stays", "stays"]
    assert "expected VALVE=SIZE" in call(capsys, path, "--fix", "1I")[2]


def test_the_window_s_list_says_what_inspects_a_file_that_no_bay_takes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from valvelab.window.bench_list import state_of
    from valvelab.workbench import bays

    monkeypatch.setattr(bays, "BAYS", tuple(bay for bay in bays.BAYS if bay.name != "lash"))
    document = edits.add_files(Document(), [str(sheet(tmp_path, "1I,0.20,2.50"))])
    (file,) = document.unread()
    document = edits.content_arrived(document, file, read_content(file))
    assert state_of(document, document.files[0])[0] == "lash sheet: valvelab lash inspects it"


def test_inches_are_read_as_such(tmp_path: Path) -> None:
    preamble = ("lash: 0.008 in ± 0.001 in", "shims: 0.100 in to 0.104 in by 0.002 in")
    path = sheet(tmp_path, "A,0.012,0.098", preamble=preamble, head="valve,clearance [in],shim [in]")
    row = inspect_lash(read_lash(path)).result.valves[0]
    assert (row.kind, row.chance_in_band) == (None, None)
    assert (row.shim_mm, row.lash_mm) == pytest.approx((0.102 * 25.4, 0.008 * 25.4))


@pytest.mark.parametrize(
    ("preamble", "rows", "sentence"),
    [
        (PREAMBLE, ("1I,0.2,2.5", "1I,0.2,2.5"), "valve '1I' twice, expected each valve once"),
        (PREAMBLE, ("A,0.2,2.5",), "valve 'A' without a lash wanted"),
        (PREAMBLE, ("1I,0.2,",), "expected the shim that is fitted"),
        (PREAMBLE, ("1I,-0.2,2.5",), "expected a clearance from 0 to 10 mm"),
        (("lash: 0.2 mm",), ("1I,0.2,2.5",), "expected its band"),
        (("lash: 0.3 mm to 0.2 mm",), ("1I,0.2,2.5",), "with a band above 0"),
        (("lash: 0.2 lbf ± 1 lbf",), ("1I,0.2,2.5",), "lash"),
        ((*PREAMBLE, "shims: 2.5 mm x few"), ("1I,0.2,2.5",), "expected how many there are"),
        ((*PREAMBLE, "least chance: 120 %"), ("1I,0.2,2.5",), "expected per cent between 0 and 100"),
    ],
)
def test_a_bad_sheet_has_its_sentence(
    preamble: tuple[str, ...],
    rows: tuple[str, ...],
    sentence: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    code, out, err = call(capsys, sheet(tmp_path, *rows, preamble=preamble), "--quiet")
    assert (code, out, len(err.splitlines())) == (3, "", 1)
    assert sentence in err
