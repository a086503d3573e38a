"""Background work lets the window by between two of its pieces, and is stopped by nothing."""

from __future__ import annotations

import time
from threading import Thread

import pytest
from PySide6.QtGui import QPaintEvent
from PySide6.QtWidgets import QWidget
from showing import show
from waiting import wait_for

from valvelab.measured import Once
from valvelab.pieces import in_pieces, letting_by, rest
from valvelab.window import right_of_way
from valvelab.window.main_window import MainWindow
from valvelab.window.right_of_way import RightOfWay

WAIT_S = 10.0


def work_beside(way: RightOfWay, done: list[int], many: int = 3) -> Thread:
    """Work of so many pieces, begun in a thread of its own."""
    thread = Thread(target=way.beside, args=(lambda: done.extend(in_pieces(range(many))),), daemon=True)
    thread.start()
    return thread


def test_work_goes_straight_on_where_nobody_is_to_be_let_by() -> None:
    given = range(3)
    rest()
    assert in_pieces(given) is given


def test_there_is_a_rest_before_each_piece_and_before_each_answer_that_is_worked_out() -> None:
    rests: list[str] = []
    with letting_by(lambda: rests.append("rest")):
        for piece in in_pieces("ab"):
            rests += piece
        assert rests == ["rest", "a", "rest", "b"]
        asked = Once()
        answers = [asked.once(lambda _self, of: 2 * of, 21)]
        assert (answers, rests[4:]) == ([42], ["rest"])
    rest()
    assert len(rests) == 5, "it is over once the work is"


def test_a_kept_answer_needs_no_rest() -> None:
    rests: list[str] = []
    asked, work = Once(), lambda _self: 42
    asked.once(work)
    with letting_by(lambda: rests.append("rest")):
        assert asked.once(work) == 42
    assert not rests


def test_work_waits_while_the_window_works_within_itself_as_well() -> None:
    way, done = RightOfWay(), list[int]()
    with way.taken():
        with way.taken():
            pass
        thread = work_beside(way, done)
        thread.join(0.2 * right_of_way.MOST_S)
        assert thread.is_alive()
        assert not done
    thread.join(WAIT_S)
    assert done == [0, 1, 2]


def test_a_turn_of_the_window_that_waits_for_the_work_itself_is_waited_for_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(right_of_way, "MOST_S", 0.02)
    way, done = RightOfWay(), list[int]()
    with way.taken():
        begun = time.monotonic()
        work_beside(way, done, many=1000).join(WAIT_S)
        assert len(done) == 1000
        assert time.monotonic() - begun < 1000 * right_of_way.MOST_S / 2, "every piece waited"
    with way.taken():
        thread = work_beside(way, done)
        thread.join(0.001)
        waited = thread.is_alive()
    thread.join(WAIT_S)
    assert waited, "the next turn goes first again"


class Painted(QWidget):
    """Begins some work beside when it is drawn, and tells what was done of it by the time it had been drawn."""

    def __init__(self, parent: MainWindow) -> None:
        super().__init__(parent)
        self.way = parent.bench.right_of_way
        self.done: list[int] = []
        self.in_time: list[int] | None = None
        self.thread: Thread | None = None

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Give the thread time."""
        if self.thread is None:
            self.thread = work_beside(self.way, self.done)
            self.thread.join(0.2 * right_of_way.MOST_S)
            self.in_time = list(self.done)


def test_background_work_waits_while_the_window_is_drawn(patient: MainWindow) -> None:
    wait_for(patient.bench.at_rest)
    drawn = Painted(patient)
    drawn.resize(20, 20)
    show(drawn)
    wait_for(lambda: drawn.in_time is not None)
    assert drawn.in_time == []
    wait_for(lambda: drawn.done == [0, 1, 2])
    drawn.deleteLater()


def test_background_work_waits_while_a_step_is_done_and_while_the_document_changes(patient: MainWindow) -> None:
    bench = patient.bench
    wait_for(bench.at_rest)
    found: dict[str, list[int]] = {}

    def look(name: str) -> None:
        done: list[int] = []
        work_beside(bench.right_of_way, done).join(0.2 * right_of_way.MOST_S)
        found.setdefault(name, list(done))

    bench.document_changed.connect(lambda _old, _new: look("document"))
    bench.turns.after("look", lambda: look("step"))
    wait_for(lambda: "step" in found)
    bench.toggle_units()
    wait_for(lambda: "document" in found)
    assert found == {"step": [], "document": []}
