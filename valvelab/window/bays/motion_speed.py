"""The page of control at speed: quasi-static force, spring resonances, and the dynamic model when it was run."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QLabel, QProgressBar, QSizePolicy, QWidget

from valvelab.dynamics.sweep import FLOAT_LOFT_MM
from valvelab.figures.motion_figures import force_figure, force_map, resonance_figure, sweep_figure, valve_of
from valvelab.inspection.engine.motion import MotionInspection
from valvelab.language import marked, say
from valvelab.units import System
from valvelab.window.bench import Bench
from valvelab.window.chips import Sentence, Words
from valvelab.window.layouts import above, flowing
from valvelab.window.numbers import show, told, with_unit
from valvelab.window.panel import Drawing, DrawingPanel
from valvelab.window.panes import Chips, button, colour_text
from valvelab.workbench.motion_files import MotionState

NEVER_SAFE = marked("▲ Every speed here is an estimate of a model and never a safe speed.")
_NOT_RUN = marked("The dynamic model was not run for this valve as tried.")
_RUNS = marked("The dynamic model runs…")
_KINDS = ((False, marked("Force and surge")), (True, marked("Dynamic model")))


class SpeedPage(QWidget):
    """`wanted()` to run the dynamic model, `unwanted()` to end it."""

    wanted = Signal()
    unwanted = Signal()

    def __init__(self, bench: Bench, parent: QWidget) -> None:
        super().__init__(parent)
        self.words = Sentence(self)
        self.words.setAccessibleName(say("Predicted control of the valve"))
        self.caution = Words(1.0, self)
        self.caution.setText(say(NEVER_SAFE))
        tip = say("Sweep crank speeds with contact that opens, spring waves and coil clash; in the background")
        self.run = button(self, "R&un the model", tip, self.wanted.emit)
        self.bar = QProgressBar(self)
        self.bar.setRange(0, 100)
        self.bar.setAccessibleName(say("How much of the dynamic model is done"))
        self.cancel = button(self, "&Stop", "", self.unwanted.emit)
        self.state = QLabel(self)
        self.nothing = QLabel(say(_NOT_RUN), self)
        self.nothing.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.nothing.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Expanding)
        self.panel = DrawingPanel(2, self)
        self.kinds = Chips(bench, self, MotionState, "dynamic", _KINDS)
        head = flowing(self.kinds.row, self.run, self.bar, self.cancel, self.state)
        parts = (head, self.words, self.caution, (self.panel, 1), (self.nothing, 1))
        above(*parts, on=self, margins=(8, 4, 6, 4))
        self.words.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self.show_run(None)

    def show_run(self, share: float | None, said: str = "") -> None:
        """Show how far the model has come; None while it does not run."""
        running = share is not None
        self.nothing.setText(say(_RUNS if running else _NOT_RUN))
        self.run.setVisible(not running)
        self.bar.setVisible(running)
        self.cancel.setVisible(running)
        self.bar.setValue(round(100.0 * (share or 0.0)))
        self.state.setText(said)

    def show_speed(
        self, tried: MotionInspection, swept: MotionInspection | None, valve: str, units: System, *, dynamic: bool
    ) -> None:
        """Show one valve as tried; `swept` holds the dynamic model's answer where it was run for just that."""
        colour_text(self.caution, "undecided")
        found = swept or tried
        drawings: list[Drawing | None] = [force_figure(found, valve), resonance_figure(found, valve)]
        if dynamic:
            drawings = [] if swept is None else [force_map(swept, valve), sweep_figure(swept, valve)]
        shown = [drawing for drawing in drawings if drawing is not None]
        self.panel.show_drawings(shown, units)
        self.nothing.setVisible(not shown)
        self.panel.setVisible(bool(shown))
        self.words.setText(_sentence(found, valve, units, swept=swept is not None))
        self.run.setText(say("R&un the model") if swept is None else say("R&un again"))


def _sentence(inspection: MotionInspection, valve: str, units: System, *, swept: bool) -> str:
    control = valve_of(inspection, valve).control
    if control is None:
        return say("Control needs [valve] effective_mass, and [spring] seat_force and rate in the train.")

    def rpm(value: float | None) -> str:
        return f"{show(value, 'rpm')} {say('rpm')}"

    top = inspection.question.train.crank.max_speed_rpm
    parts = []
    if control.separation_rpm is None:
        parts.append(say("Quasi-static, the follower stays on the cam at every speed."))
    else:
        parts.append(
            say("Quasi-static, the follower would leave the cam of {valve} at {rpm}.").format(
                valve=valve, rpm=rpm(control.separation_rpm)
            )
        )
    if control.margin_n_at_max_speed is not None:
        parts.append(
            say("Least force at {rpm}: {margin_n_at_max_speed}.").format(
                rpm=rpm(top), margin_n_at_max_speed=told(control.margin_n_at_max_speed, "N", units)
            )
        )
    if swept and control.dynamic is not None:
        lost = control.dynamic_separation_rpm
        ends = control.dynamic.crank_rpm
        if lost is None:
            parts.append(
                say("The dynamic model finds no first loss between {rpm} and {rpm_2}; see Remarks.").format(
                    rpm=rpm(ends[0]), rpm_2=rpm(ends[-1])
                )
            )
        else:
            parts.append(say("With spring and gear in motion, contact is first lost at {rpm}.").format(rpm=rpm(lost)))
        if control.dynamic.float_rpm is not None:
            clear = with_unit(FLOAT_LOFT_MM, "mm", units, 2, 3)
            parts.append(
                say("It flies {clear} clear from {rpm}.").format(clear=clear, rpm=rpm(control.dynamic.float_rpm))
            )
        if control.dynamic.beyond_travel_rpm is not None:
            parts.append(
                say("From {rpm} on it goes beyond its free travel: no figure.").format(
                    rpm=rpm(control.dynamic.beyond_travel_rpm)
                )
            )
    return " ".join(parts)
