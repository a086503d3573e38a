"""Trials of the valve motion: a slider and a field for each, and what the train itself states."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import QComboBox, QGridLayout, QLabel, QSlider, QWidget

from valvelab.units import System, display_unit, show
from valvelab.window.fields import QuantityField
from valvelab.window.panes import button, colour_text
from valvelab.workbench.motion_files import Motion, Trial
from valvelab.workbench.motion_trials import can_try, spring_rows, train_tried
from valvelab.workbench.state import Entry, entry_of

if TYPE_CHECKING:
    from valvelab.records.train import Train

_FRAME_MS = 8


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
        self._pending: tuple[str, int] | None = None
        self._frame = QTimer(self, singleShot=True, interval=_FRAME_MS)
        self._frame.timeout.connect(self._on_frame)
        em = self.fontMetrics().height()
        grid = QGridLayout(self)
        grid.setContentsMargins(em // 2, em // 4, em // 2, em // 4)
        grid.setHorizontalSpacing(6)
        grid.setVerticalSpacing(2)
        for row, (name, control) in enumerate(CONTROLS.items()):
            self._add(grid, row, name, control, em)
        self.springs = QComboBox(self)
        self.springs.setAccessibleName("Spring tried")
        self.springs.setToolTip("The spring of the train, or one that was measured and is on the bench")
        self.springs.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.springs.setMinimumContentsLength(12)
        self.springs.activated.connect(lambda at: self.spring_tried.emit(str(self.springs.itemData(at) or "")))
        grid.addWidget(QLabel("Spring", self), len(CONTROLS), 0)
        grid.addWidget(self.springs, len(CONTROLS), 1, 1, 2)
        tip = "Give up the trial: everything as the train's file states it"
        self.reset = button(self, "As stated", tip, self.given_up.emit)
        grid.addWidget(self.reset, len(CONTROLS), 3)
        grid.setColumnStretch(1, 1)

    def _add(self, grid: QGridLayout, row: int, name: str, control: Entry, em: int) -> None:
        slider = QSlider(Qt.Orientation.Horizontal, self)
        slider.setAccessibleName(control.spoken)
        slider.setMinimumWidth(5 * em)
        slider.valueChanged.connect(lambda value, name=name: self._on_slide(name, value))
        slider.sliderReleased.connect(self._on_release)
        field = QuantityField(control.spoken, control.dimension, control.unit, control.step, self)
        field.setAlignment(Qt.AlignmentFlag.AlignRight)
        field.setFixedWidth(round(4.6 * em))
        field.entered.connect(lambda value, name=name: self.tried.emit(name, value, False))
        label = QLabel(control.text, self)
        label.setBuddy(field)
        stated = QLabel(self)
        stated.setMinimumWidth(round(3.3 * em))
        stated.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        for column, widget in enumerate((label, slider, field, stated)):
            grid.addWidget(widget, row, column)
        self.sliders[name], self.fields[name], self.stated[name] = slider, field, stated

    def show_trial(self, motion: Motion, trial: Trial, units: System) -> None:
        """Show what is tried beside what is stated."""
        refused, now = can_try(motion), train_tried(motion, trial)
        before = motion.inspection.question.train
        for name, control in CONTROLS.items():
            old, value = _value(before, name, 0.0), _value(now, name, trial.advance_deg)
            slider, field = self.sliders[name], self.fields[name]
            why = refused.get(name, "")
            for widget in (slider, field):
                widget.setEnabled(not why)
            slider.setToolTip(why or f"{control.spoken}: drag, or the arrow keys")
            decimals = control.decimals_in(units)
            if value is None or old is None:
                field.setText("–")
                self.stated[name].setText("")
                continue
            slider.blockSignals(True)
            low, high = _range(name, old)
            slider.setRange(round(low / control.step), round(high / control.step))
            slider.setSingleStep(1)
            slider.setPageStep(5)
            slider.setValue(round(value / control.step))
            slider.blockSignals(False)
            field.show_value(value, units, decimals)
            same = abs(value - old) < 1e-9
            self.stated[name].setText("as stated" if same else f"was {show(old, control.unit, units, decimals)}")
            colour_text(self.stated[name], "quiet" if same else "accent")
        self._show_springs(motion, trial, units)
        self.reset.setEnabled(trial.differs)

    def _show_springs(self, motion: Motion, trial: Trial, units: System) -> None:
        rows = spring_rows(motion)
        unit = display_unit("N", units).label
        wanted = [("as the train states", "")]
        wanted += [
            (f"measured {row.spring}, {show(row.seat_force_n, 'N', units, 0)} {unit}", row.spring) for row in rows
        ]
        known = [(self.springs.itemText(n), self.springs.itemData(n)) for n in range(self.springs.count())]
        if known != wanted:
            self.springs.clear()
            for text, name in wanted:
                self.springs.addItem(text, name)
        self.springs.setCurrentIndex(max(0, self.springs.findData(trial.spring)))
        self.springs.setEnabled(bool(rows))

    def _on_slide(self, name: str, value: int) -> None:
        self._pending = (name, value)
        if not self._frame.isActive():
            self._frame.start()

    def _on_frame(self) -> None:
        if self._pending is not None:
            (name, steps), self._pending = self._pending, None
            self.tried.emit(name, round(steps * CONTROLS[name].step, 6), self.sliders[name].isSliderDown())

    def _on_release(self) -> None:
        self._on_frame()
        self.let_go.emit()


def _value(train: Train, name: str, advance: float) -> float | None:

    match name:
        case "lash_mm":
            return train.lash.counted_mm
        case "ratio":
            return train.rocker.one_ratio
        case "advance_deg":
            return advance
        case _:
            return train.spring.seat_force_n


def _range(name: str, stated: float) -> tuple[float, float]:
    """Ends of a slider about what is stated."""
    match name:
        case "lash_mm":
            return 0.0, max(1.0, 2.0 * stated)
        case "ratio":
            return 0.8 * stated, 1.2 * stated
        case "advance_deg":
            return -15.0, 15.0
        case _:
            return 0.4 * stated, 1.8 * stated
