"""The import contracts hold, and each is seen to fail on a breach planted for it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

#: contract → files planted in the package, each with its line
BREACHES = {
    "imports point down only": {"lobe/planted.py": "import valvelab.records.result"},
    "Qt and pyqtgraph only in the window": {"report/planted.py": "import PySide6"},
    "the numerical rooms touch no file, clock, database, environment or pydantic": {
        "springs/planted.py": "import pathlib",
    },
    "the numerical rooms start no threads and leave the interpreter alone": {"springs/planted.py": "import threading"},
    "a database only in the store": {"job/planted.py": "import sqlalchemy"},
    "no circle inside a room": {
        "lobe/planted.py": "import valvelab.lobe.planted_beside",
        "lobe/planted_beside.py": "import valvelab.lobe.planted",
    },
}


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("checkout")
    shutil.copytree(ROOT / "valvelab", folder / "valvelab", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", folder)
    return folder


def lint(folder: Path) -> subprocess.CompletedProcess[str]:
    command = [str(Path(sys.executable).with_name("lint-imports")), "--no-cache"]
    environment = {**os.environ, "PYTHONPATH": str(folder), "PYTHONSAFEPATH": "1", "COLUMNS": "200"}
    return subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, check=False)


def test_contracts_hold(copy: Path) -> None:
    done = lint(copy)
    assert done.returncode == 0, done.stdout


def test_every_contract_has_its_breach() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    names = {contract["name"] for contract in settings["tool"]["importlinter"]["contracts"]}
    assert names == set(BREACHES)


@pytest.mark.parametrize("contract", BREACHES)
def test_planted_breach_is_seen(copy: Path, contract: str) -> None:
    planted = {copy / "valvelab" / name: line for name, line in BREACHES[contract].items()}
    for path, line in planted.items():
        path.write_text(f'"""A breach."""\n{line}\n', encoding="utf-8")
    try:
        done = lint(copy)
    finally:
        for path in planted:
            path.unlink()
    assert done.returncode == 1, done.stdout
    assert f"{contract} BROKEN" in done.stdout


def test_what_is_listed_is_light() -> None:
    """The command line's help and the kinds of files load nothing of what they lead to."""
    heavy = (
        "[name for name in ('numpy', 'scipy', 'pydantic', 'sqlalchemy', 'valvelab.records.job') if name in sys.modules]"
    )
    code = (
        "import contextlib, sys\nfrom valvelab.cli.main import main\nimport valvelab.files.kinds\n"
        f"with contextlib.suppress(SystemExit):\n    main(['--help'])\nassert not {heavy}, {heavy}"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "shims" in done.stdout


def test_the_options_of_an_inspection_load_no_numerics() -> None:
    code = (
        "import contextlib, sys\nfrom valvelab.cli.main import main\n"
        "with contextlib.suppress(SystemExit):\n    main(['lobes', '--help'])\n"
        "assert not {'numpy', 'scipy', 'reportlab'} & set(sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "--keep-eccentricity" in done.stdout


def test_an_inspection_loads_no_library_of_paper_window_or_store() -> None:
    code = (
        "import sys\nfrom valvelab.cli.main import main\n"
        "main(['lobes', 'sample_profiles/quillmere_four_camshaft.csv', '--quiet'])\n"
        "assert not {'reportlab', 'PySide6', 'pyqtgraph', 'sqlalchemy', 'alembic', 'numpy.ma'} & set(sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "max lift" in done.stdout


def test_a_certificate_loads_what_concerns_its_parts() -> None:
    """A camshaft's paper explains lobes; springs, dynamics and degree wheels are loaded for theirs."""
    code = (
        "import sys, tempfile\nfrom valvelab.cli.main import main\nfrom valvelab.inspection import characteristics\n"
        "target = tempfile.mkdtemp() + '/c.pdf'\n"
        "main(['certify', 'sample_profiles/quillmere_four_camshaft.csv', '--out', target, '--quiet'])\n"
        "aside = ('valvelab.inspection.engine', 'valvelab.inspection.springs')\n"
        "others = {name for name in sys.modules if name.startswith(aside)}\n"
        "assert not others, others\nassert 'cryptography' not in sys.modules\n"
        "rows = characteristics.all_characteristics()\n"
        "assert set(rows) == set(characteristics.of_subjects({row.subject for row in rows}))\n"
        "for subject in {row.subject for row in rows}:\n"
        "    found = characteristics.of_subjects((subject,))\n"
        "    assert found == tuple(row for row in rows if row.subject == subject), subject\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_a_library_that_draws_a_bowed_shaft_is_loaded_for_that_alone() -> None:
    code = (
        "import sys\nfrom valvelab.cli.main import main\n"
        "main(['texture', 'sample_profiles/club_four_lobe_3I_trace.csv', '--quiet'])\n"
        "assert 'scipy' not in sys.modules"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "Ra" in done.stdout


def test_a_lift_check_loads_no_scipy_and_none_of_the_valve_train(tmp_path: Path) -> None:
    """Neither inspected nor on paper."""
    code = (
        "import sys\nfrom valvelab.cli.main import main\n"
        "main(['liftcheck', 'sample_profiles/quillmere_spring_meeting.toml', '--quiet', '--out', sys.argv[1]])\n"
        "found = {'scipy', 'valvelab.inspection.engine.characteristics', 'valvelab.lobe', 'valvelab.files.reading'}\n"
        "assert not found & set(sys.modules), found & set(sys.modules)"
    )
    command = [sys.executable, "-c", code, str(tmp_path / "event.pdf")]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "event.pdf").is_file()


def test_room_without_a_layer_is_seen(copy: Path) -> None:
    stray = copy / "valvelab" / "stray.py"
    stray.write_text('"""In no layer."""\n', encoding="utf-8")
    try:
        done = lint(copy)
    finally:
        stray.unlink()
    assert done.returncode == 1, done.stdout


def test_an_empty_window_is_painted_without_plots_arrays_or_bays(tmp_path: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from PySide6.QtWidgets import QApplication\n"
        "from valvelab.window.bench import Bench; from valvelab.window.main_window import MainWindow\n"
        "app = QApplication([]); window = MainWindow(Bench(Path(sys.argv[1]))); window.show(); app.processEvents()\n"
        "assert 'pydantic' not in sys.modules\n"
        "import time; window.job.tidy(); until = time.monotonic() + 0.3\n"
        "while time.monotonic() < until: app.processEvents()\n"
        "found = {'numpy', 'scipy', 'pyqtgraph', 'reportlab'} & set(sys.modules)\n"
        "found |= {name for name in sys.modules if name.endswith(('_bay', '_view', 'files.reading', 'records.job'))}\n"
        "assert not found, found; window.bench.close()"
    )
    environment = {**os.environ, "QT_QPA_PLATFORM": "offscreen"}
    subprocess.run([sys.executable, "-c", code, str(tmp_path)], env=environment, check=True)


def test_no_thread_begins_before_the_windows_own_has_loaded_the_records(tmp_path: Path) -> None:
    """A table that is dropped the moment the window stands, and a decision that is kept."""
    code = (
        "import sys; from concurrent.futures import ThreadPoolExecutor; from pathlib import Path\n"
        "from PySide6.QtWidgets import QApplication\n"
        "from valvelab.window.bench import Bench; from valvelab.window.main_window import MainWindow\n"
        "begin, seen = ThreadPoolExecutor.submit, []\n"
        "def submit(self, *work):\n"
        "    seen.append('valvelab.workbench.saved_bench' in sys.modules); return begin(self, *work)\n"
        "ThreadPoolExecutor.submit = submit\n"
        "app = QApplication([]); bench = Bench(Path(sys.argv[1])); window = MainWindow(bench); window.show()\n"
        "assert 'pydantic' not in sys.modules\n"
        "bench.keep(); bench.add_files([sys.argv[2]]); app.processEvents(); bench.close()\n"
        "assert len(seen) >= 2 and all(seen), seen"
    )
    environment = {**os.environ, "QT_QPA_PLATFORM": "offscreen"}
    table = ROOT / "sample_profiles" / "quillmere_four_camshaft.csv"
    subprocess.run([sys.executable, "-c", code, str(tmp_path), str(table)], env=environment, check=True)


def test_threads_that_want_arrays_at_once_all_get_them() -> None:
    """Two roads into numpy at the same time find it half made: it imports itself in a circle."""
    code = (
        "import threading; from valvelab.workbench.first_import import numeric; done = []\n"
        "def load(road):\n    numeric(); __import__(road); done.append(road)\n"
        "roads = ['numpy.typing', 'numpy', 'numpy.linalg', 'valvelab.files.body', 'valvelab.angles'] * 2\n"
        "threads = [threading.Thread(target=load, args=(road,)) for road in roads]\n"
        "[one.start() for one in threads]; [one.join() for one in threads]\n"
        "assert len(done) == len(roads), done"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
