"""Names in typed texts: whatever a spring, valve or place is called, what is written is read as the same name."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from something import each

from valvelab.cli.main import main
from valvelab.csv_text import csv_text
from valvelab.errors import WrongUsage
from valvelab.inspection.springs.fix_text import fix_text, lock_of
from valvelab.inspection.springs.shim_case import Lock
from valvelab.inspection.springs.shim_work import Setting
from valvelab.job import typed
from valvelab.quoting import Piece, cut, listed, name_in, names_in, pieces, written
from valvelab.springs.shims import Stack
from valvelab.workbench.set_wishes import Place, Wishes, part_fields

NAMES = st.one_of(st.text(min_size=1), st.text(alphabet='a1"=;,: ', min_size=1), st.just("shims 1 mm"))


def test_quotes_are_those_of_csv() -> None:
    # RFC 4180, section 2, rules 5 to 7
    assert names_in('"aaa","b""bb","c,cc"') == ("aaa", 'b"bb', "c,cc")
    assert written('b"bb') == 'b"bb'
    assert written('"b,b') == '"""b,b"'


def test_plain_names_stay_as_they_were_typed() -> None:
    assert cut("1I=Q07; shims 0.50 mm", "=") == ("1I", "Q07; shims 0.50 mm")
    assert pieces(" Q01 , ,Q 02,") == (Piece("Q01"), Piece("Q 02"))
    assert (cut("Q07", "="), cut('"Q=7"', "=")) == (None, None)
    assert listed(("Q01", '1/2" Q02')) == 'Q01,1/2" Q02'


def test_quotes_that_do_not_close_a_name_are_refused() -> None:
    for text in each(('"Q01', '"Q01" or so', 'Q01,"Q02')):
        with pytest.raises(WrongUsage, match="quotes round all of a name"):
            names_in(text)
    with pytest.raises(WrongUsage, match="expected POSITION=SPRING"):
        lock_of('"1I=Q07')


@given(st.lists(NAMES, min_size=1, max_size=4).map(tuple), st.sampled_from("=;,:"), st.text())
def test_any_name_that_is_written_is_read(names: tuple[str, ...], separator: str, rest: str) -> None:
    assert names_in(listed(names)) == names
    assert tuple(piece.text for piece in pieces(separator.join(map(written, names)), separator)) == names
    assert name_in(written(names[0])) == names[0]
    assert cut(f"{written(names[0])}{separator}{rest}", separator) == (names[0], rest.strip())


@given(NAMES, NAMES)
def test_any_spring_can_be_fixed_at_any_position(position: str, spring: str) -> None:
    setting = Setting(position, spring, Stack((0.5, 0.25), 1.27, 0.0, 0.0))
    assert lock_of(fix_text(setting)) == (position, Lock.of(setting))


@given(
    st.lists(NAMES, min_size=4, max_size=4, unique=True), st.text(min_size=1).filter(lambda text: text.strip() == text)
)
def test_whatever_is_wished_of_any_spring_stands_in_the_part_of_a_job(names: list[str], reason: str) -> None:
    a, b, c, d = names
    wishes = Wishes({a: reason}, {b: reason}, ((a, c),), ((c, d),), (), (Place(a, 2), Place(b, 2, 240.0, 260.0)))
    fields = part_fields(wishes)
    assert typed.reasons(fields["take"], "--take") == {a: reason}
    assert typed.reasons(fields["leave_out"], "--leave-out") == {b: reason}
    assert [names_in(text) for text in (*fields["together"], *fields["apart"])] == [(a, c), (c, d)]
    plain, forced = (cut(text, ":") for text in fields["position"])
    assert (plain, forced) == ((a, "size=2"), (b, "size=2, seat_force=240.0 N..260.0 N"))


def test_springs_and_positions_of_any_name_are_decided_on_the_command_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    springs, heights = tmp_path / "springs.csv", tmp_path / "heights.csv"
    names = ("Q=1", "Q;2", "Q,3", "Q:4", '"Q5"')
    rows = [[name, height, 30.0 * (46.0 - height)] for name in names for height in (40.0, 38.0, 28.0)]
    readings = csv_text([["spring", "height [mm]", "force [N]"], *rows])
    springs.write_text(f"# installed height: 38 mm\n# valve lift: 10 mm\n{readings}", encoding="utf-8")
    heights.write_text("# shims: 0.5 mm\n# valve lift: 10 mm\nposition,height [mm]\nI=1,38\nE;1,38\n", encoding="utf-8")

    def answer(*words: object) -> dict[str, list[dict[str, object]]]:
        assert main([*map(str, words), "--json"]) == 0
        found: dict[str, list[dict[str, object]]] = json.loads(capsys.readouterr().out)
        return found

    ties = ("--together", '"Q=1",Q;2', "--leave-out", '"Q,3"=scratched', "--position", '"a:b": size=2')
    (one,) = answer("sets", springs, "--within", "seat_force=6 N", *ties, "--position", "c: size=2")["sets"][:1]
    assert (one["position"], one["springs"]) == ("a:b", ["Q=1", "Q;2"])
    fixed = ("--fix", '"I=1"="Q:4"; shims 0.5 mm', "--fix", '"E;1"="""Q5"""')
    plan = answer("shims", springs, "--heights", heights, *fixed)["positions"]
    assert [(row["position"], row["spring"]) for row in plan] == [("I=1", "Q:4"), ("E;1", '"Q5"')]
