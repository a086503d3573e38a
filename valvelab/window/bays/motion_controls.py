"""Trials of the valve motion: a slider and a field for each, and what the train itself states."""

from __future__ import annotations

from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtWidgets import QComboBox, QGridLayout, QLabel, QSlider, QWidget

from valvelab.decimals import decimals_among
from valvelab.language import say
from valvelab.records.train import Train
from valvelab.units import System
from valvelab.window.fields import QuantityField
from valvelab.window.numbers import show, with_unit
from valvelab.window.painting import RIGHT
from valvelab.window.panes import EachFrame, button, colour_text, offer
from valvelab.window.theme import in_ems
from valvelab.workbench.motion_files import Motion, Trial
from valvelab.workbench.motion_trials import can_try, spring_rows, train_tried
from valvelab.workbench.state import Entry, entry_of

CONTROLS = {name: entry_of(Trial, name) for name in ("lash_mm", "ratio", "advance_deg", "seat_force_n")}


class TrialPane(QWidget):
    """`tried(name, value, dragging)`, `let_go()` at the end of a drag, `spring_tried(name)`, `given_up()`."""

    tried = Signal(str, float, bool)
    let_go = Signal()
    spring_tried = Signal(str)
    given_up = Signal()

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.sliders: dict[str, QSlider] = {}
        self.fields: dict[str, QuantityField] = {}
        self.stated: dict[str, QLabel] = {}
        self._drag = EachFrame(self, self._on_dragged)
        em = self.fontMetrics().height()
        grid = QGridLayout(self)
        grid.setContentsMargins(em // 2, em // 4, em // 2, em // 4)
        grid.setHorizontalSpacing(6)
        grid.setVerticalSpacing(2)
        in_ems(grid)
        for row, (name, control) in enumerate(CONTROLS.items()):
            self._add(grid, row, name, control, em)
        self.springs = QComboBox(self)
        self.springs.setAccessibleName(say("Spring tried"))
        self.springs.setToolTip(say("The spring of the train, or one that was measured and is on the bench"))
        self.springs.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.springs.setMinimumContentsLength(12)
        self.springs.activated.connect(lambda at: self.spring_tried.emit(str(self.springs.itemData(at) or "")))
        grid.addWidget(QLabel(say("Spring"), self), len(CONTROLS), 0)
        grid.addWidget(self.springs, len(CONTROLS), 1, 1, 2)
        tip = say("Give up the trial: everything as the train's file states it")
        self.reset = button(self, "As s&tated", tip, self.given_up.emit)
        grid.addWidget(self.reset, len(CONTROLS), 3)
        grid.setColumnStretch(1, 1)

    def _add(self, grid: QGridLayout, row: int, name: str, control: Entry, em: int) -> None:
        slider = QSlider(Qt.Orientation.Horizontal, self)
        slider.setPageStep(5)
        slider.setAccessibleName(say(control.spoken))
        slider.setMinimumWidth(5 * em)
        slider.valueChanged.connect(lambda steps: self._drag.put((name, steps)))
        slider.sliderReleased.connect(self._on_release)
        field = QuantityField(say(control.spoken), control.dimension, control.unit, control.step, self)
        field.setAlignment(Qt.AlignmentFlag.AlignRight)
        field.setFixedWidth(round(4.6 * em))
        field.entered.connect(lambda value, name=name: self.tried.emit(name, value, False))
        label = QLabel(say(control.text), self)
        label.setBuddy(field)
        stated = QLabel(self, alignment=RIGHT)
        stated.setMinimumWidth(round(3.3 * em))
        for column, widget in enumerate((label, slider, field, stated)):
            grid.addWidget(widget, row, column)
        self.sliders[name], self.fields[name], self.stated[name] = slider, field, stated

    def show_trial(self, motion: Motion, trial: Trial, units: System) -> None:
        """Show what is tried beside what is stated."""
        refused, now = can_try(motion), train_tried(motion, trial)
        before, after = _values(motion.inspection.question.train, 0.0), _values(now, trial.advance_deg)
        for name, control in CONTROLS.items():
            old, value = before[name], after[name]
            slider, field = self.sliders[name], self.fields[name]
            why = refused.get(name, "")
            for widget in (slider, field):
                widget.setEnabled(not why)
            slider.setToolTip(why or say("{spoken}: drag, or the arrow keys").format(spoken=say(control.spoken)))
            decimals = control.decimals_in(units)
            if value is None or old is None:
                field.setText("–")
                self.stated[name].setText("")
                continue
            with QSignalBlocker(slider):
                slider.setRange(*(round(end / control.step) for end in _range(name, old)))
                slider.setValue(round(value / control.step))
            field.show_value(value, units, decimals)
            same = abs(value - old) < 1e-9
            self.stated[name].setText(
                say("as stated") if same else say("was {value}").format(value=show(old, control.unit, units, decimals))
            )
            colour_text(self.stated[name], "quiet" if same else "accent")
        self._show_springs(motion, trial, units)
        self.reset.setEnabled(trial.differs)

    def _show_springs(self, motion: Motion, trial: Trial, units: System) -> None:
        rows = spring_rows(motion)
        n = decimals_among(rows, "seat_force_n", "N", units)
        wanted = [(say("as the train states"), "")]
        wanted += [
            (
                say("measured {spring}, {seat_force_n}").format(
                    spring=row.spring, seat_force_n=with_unit(row.seat_force_n, "N", units, n, n)
                ),
                row.spring,
            )
            for row in rows
        ]
        known = {name for _, name in wanted}
        offer(self.springs, wanted, trial.spring if trial.spring in known else "")
        self.springs.setEnabled(bool(rows))

    def _on_dragged(self, to: tuple[str, int]) -> None:
        name, steps = to
        self.tried.emit(name, round(steps * CONTROLS[name].step, 6), self.sliders[name].isSliderDown())

    def _on_release(self) -> None:
        self._drag.settle()
        self.let_go.emit()


def _values(train: Train, advance: float) -> dict[str, float | None]:
    """What can be tried, as a train has it."""
    lash, ratio, seat = train.lash.counted_mm, train.rocker.one_ratio, train.spring.seat_force_n
    return {"lash_mm": lash, "ratio": ratio, "advance_deg": advance, "seat_force_n": seat}


def _range(name: str, stated: float) -> tuple[float, float]:
    """Ends of a slider about what is stated."""
    ends = {"lash_mm": (0.0, max(1.0, 2.0 * stated)), "ratio": (0.8 * stated, 1.2 * stated),
            "advance_deg": (-15.0, 15.0), "seat_force_n": (0.4 * stated, 1.8 * stated)}  # fmt: skip
    return ends[name]
