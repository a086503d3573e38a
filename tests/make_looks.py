"""Pictures of every bay in every look, to be looked at: python tests/make_looks.py FOLDER [--scenes lobes,wheel] [...]

Each scene at three sizes of window, two densities of pixels, in light and dark, with text of 100, 150 and 200 %; and
contact sheets of them. Made offscreen. A density is settled when an application starts, so each has a process.
"""

from __future__ import annotations

import argparse
import itertools
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

if TYPE_CHECKING:
    from valvelab.window.main_window import MainWindow

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
SAMPLES = ROOT / "sample_profiles"
SIZES, RATIOS, SCHEMES, TEXTS = ("1280x720", "1600x1000", "2560x1440"), ("1", "2"), ("light", "dark"), (100, 150, 200)
FOUR = ("quillmere_four_camshaft.csv", "quillmere_four_camshaft.toml")
TRAIN = ("quillmere_four_camshaft.csv", "quillmere_four_train.toml", "quillmere_four_engine.toml")
TRAY = ("springs_quillmere_tray.csv", "springs_quillmere_spec.toml", "springs_quillmere_heights.csv")
SHEET_WIDE, ACROSS, _TURNS = 960, 2, 8


def chosen(bay: str, *files: str, **state: object) -> Callable[[MainWindow, Path], None]:
    """Put samples on the bench, go to a bay, and choose what its state says."""

    def set_up(window: MainWindow, _place: Path) -> None:
        from valvelab.workbench.bays import work_of

        window.bench.add_files([str(SAMPLES / name) for name in files])
        window.bench.go_to_bay(bay)
        if state:
            window.bench.set(work_of(bay).state, "look", **state)

    return set_up


def matched(page: str) -> Callable[[MainWindow, Path], None]:
    """The tray with three sets of sixteen, as they lie."""

    def set_up(window: MainWindow, _place: Path) -> None:
        from valvelab.workbench.sets import Grouping, SpringsState
        from valvelab.workbench.springs_bay import readings_of

        window.bench.add_files([str(SAMPLES / name) for name in TRAY])
        names = [f"Q{number:02d}" for number in range(1, 65)]
        sets = Grouping(tuple(tuple(names[start : start + 16]) for start in (0, 16, 32)))
        window.bench.set(SpringsState, "look", groupings={readings_of(window.bench.document): sets}, page=page)

    return set_up


def thousand(window: MainWindow, place: Path) -> None:
    """A tray of 1,000 springs, a third of them in sets."""
    from spring_cases import write_season

    from valvelab.workbench.sets import Grouping, SpringsState
    from valvelab.workbench.springs_bay import readings_of

    names = [f"S{number:04d}" for number in range(1000)]
    tray = write_season(place / "tray.csv", dict.fromkeys(names, (0.0,)), (("new", "2026-03-01"),), noise=2.0)
    spec = place / "spec.toml"
    spec.write_text(
        '[fitting]\ninstalled_height="38 mm"\nvalve_lift="8 mm"\n[[limit]]\nof="seat_force"\nmin="225 N"\nmax="255 N"\n'
    )
    window.bench.add_files([str(tray), str(spec)])
    sets = Grouping(tuple(tuple(names[start : start + 16]) for start in range(0, 320, 16)))
    window.bench.set(SpringsState, "look", groupings={readings_of(window.bench.document): sets})


def season(window: MainWindow, place: Path) -> None:
    """Sixteen springs read at the stages of a season, with what it may cost them."""
    from spring_cases import SEASON, write_season

    from valvelab.workbench.sets import SpringsState

    softer = [0.0, 0.011, 0.019, 0.026]
    lost = {f"Q{number:02d}": tuple(share * number / 12 for share in softer) for number in range(1, 17)}
    spec = place / "season.toml"
    spec.write_text('[[limit]]\nof="seat_force_drop"\nmax="8 %"\n[[limit]]\nof="seat_force"\nmin="210 N"\n')
    window.bench.add_files([str(write_season(place / "season.csv", lost, SEASON, noise=0.3)), str(spec)])
    window.bench.set(SpringsState, "look", page="stages")


def columns(window: MainWindow, place: Path) -> None:
    """A table whose columns are asked for."""
    from invented_camshaft import write_table

    window.bench.add_files([str(write_table(place / "bare.txt", ("1I", "1E"), names=False))])


def typed(window: MainWindow, _place: Path) -> None:
    """Limits being written, and readings being typed."""
    window.bench.add_files([str(SAMPLES / name) for name in FOUR])
    window.open_limits()


SCENES: dict[str, Callable[[MainWindow, Path], None]] = {
    "empty": lambda _window, _place: None,
    "columns": columns,
    "lobes": chosen("lobes", *FOUR),
    "lobes_exhaust": chosen("lobes", *FOUR, lobe="2E", page="lobe", map="lift"),
    "lobes_v8": chosen("lobes", "lake_v8_camshaft.csv", "lake_v8_camshaft.toml", page="shaft"),
    "limits": typed,
    "springs": matched("sets"),
    "springs_list": matched("springs"),
    "springs_fit": matched("shims"),
    "springs_stages": season,
    "springs_1000": thousand,
    "shaft": chosen("shaft", "club_four_journals.csv", "club_four_shaft_spec.toml"),
    "texture": chosen("texture", "club_four_lobe_3I_trace.csv", "club_four_shaft_spec.toml"),
    "gauge": chosen("gauge", "dial_gauge_study.csv", "club_four_shaft_spec.toml"),
    "worksheet": chosen("phasing"),
    "wheel": chosen("phasing", "quillmere_four_degree_wheel_misread.toml", "quillmere_four_engine.toml"),
    "events": chosen("phasing", "quillmere_four_degree_wheel.toml", drawing="events", page="steps"),
    "motion_lift": chosen("motion", *TRAIN),
    "motion_clearance": chosen("motion", *TRAIN, page="clearance"),
    "motion_rule": chosen("motion", *TRAIN, page="rule"),
    "motion_contact": chosen("motion", *TRAIN, page="contact"),
    "motion_speed": chosen("motion", *TRAIN, page="speed"),
    "compare": chosen("compare", "quillmere_four_camshaft.csv", "quillmere_four_after_a_season.csv",
                      "quillmere_four_season.toml"),
    "liftcheck": chosen("liftcheck", "quillmere_spring_meeting.toml", item="car 40"),
    "liftcheck_rule": chosen("liftcheck", "quillmere_spring_meeting.toml", rule=True),
    "lash": chosen("lash", "lake_tender_lash.csv"),
}  # fmt: skip
"""What is on the bench and in front, by name."""


def main() -> int:
    """Draw what is asked for, then the sheets."""
    asked = wishes()
    if asked.ratio is None:
        for ratio in asked.ratios.split(","):
            again = [sys.executable, __file__, *sys.argv[1:], "--ratio", ratio]
            subprocess.run(again, check=True, env=os.environ | {"QT_SCALE_FACTOR": ratio})
        make_sheets(asked.folder, asked.scenes.split(","))
    else:
        draw(asked)
    return 0


def wishes() -> argparse.Namespace:
    """What the command line asks for."""
    reader = argparse.ArgumentParser(description="pictures of every bay in every look")
    reader.add_argument("folder", type=Path)
    reader.add_argument("--scenes", default=",".join(SCENES))
    reader.add_argument("--sizes", default=",".join(SIZES))
    reader.add_argument("--ratios", default=",".join(RATIOS))
    reader.add_argument("--schemes", default=",".join(SCHEMES))
    reader.add_argument("--texts", default=",".join(map(str, TEXTS)))
    reader.add_argument("--language", default="en", help="code of the language that the window speaks")
    reader.add_argument("--points", type=float, default=10.0, help="the desktop's size of text")
    reader.add_argument("--ratio", help=argparse.SUPPRESS)
    return reader.parse_args()


def draw(asked: argparse.Namespace) -> None:
    """Every scene in every look of one density."""
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    from PySide6.QtWidgets import QApplication

    from valvelab.window import languages, theme

    application = QApplication(["looks"])
    languages.speak(asked.language, application)
    application.setFont(theme.text_font(asked.points))
    theme.dress(application)
    asked.folder.mkdir(parents=True, exist_ok=True)
    for name in asked.scenes.split(","):
        with tempfile.TemporaryDirectory() as place:
            draw_scene(application, asked, name, Path(place))


def draw_scene(application: object, asked: argparse.Namespace, name: str, place: Path) -> None:
    """One scene in every look."""
    from PySide6.QtTest import QTest

    from valvelab.window import theme
    from valvelab.window.bench import Bench
    from valvelab.window.main_window import MainWindow

    window = MainWindow(Bench(place / "settings", background=False))
    window.show()
    SCENES[name](window, place)
    QTest.qWait(300)
    looks = itertools.product(asked.schemes.split(","), asked.texts.split(","), asked.sizes.split(","))
    for scheme, text, size in looks:
        theme.set_scheme("dark" if scheme == "dark" else "light")
        window.set_text_size(int(text))
        window.resize(*(int(side) for side in size.split("x")))
        for _ in range(_TURNS):  # a layout within a layout takes a turn of the event loop each, and a page its time
            QTest.qWait(20)
        target = asked.folder / f"{name}-{size}-{asked.ratio}x-{scheme}-{text}.png"
        if not window.grab().save(str(target)):
            raise OSError(f"can't write {target}")
    window.ask_unsaved = lambda: "discard"  # type: ignore[method-assign]
    window.close()
    window.deleteLater()
    QTest.qWait(0)


def make_sheets(folder: Path, scenes: Sequence[str]) -> None:
    """One sheet a scene, its pictures small beside one another."""
    for name in scenes:
        small = []
        for path in sorted(folder.glob(f"{name}-*.png")):
            with Image.open(path) as picture:
                high = round(picture.height * SHEET_WIDE / picture.width)
                small.append(picture.convert("RGB").resize((SHEET_WIDE, high)))
        if not small:
            continue
        tall = max(picture.height for picture in small)
        rows = -(-len(small) // ACROSS)
        sheet = Image.fromarray(np.full((rows * (tall + 8), ACROSS * (SHEET_WIDE + 8), 3), 128, dtype=np.uint8))
        for number, picture in enumerate(small):
            row, column = divmod(number, ACROSS)
            sheet.paste(picture, (column * (SHEET_WIDE + 8), row * (tall + 8)))
        sheet.save(folder / f"sheet-{name}.png")


if __name__ == "__main__":
    sys.exit(main())
