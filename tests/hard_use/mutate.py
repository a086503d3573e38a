"""Mutation testing of the numerical rooms: small faults put into a module, and whether its tests see them.

`python tests/hard_use/mutate.py [MODULE ...] [--most MUTANTS] [--seed SEED] [--workers 2]`: of each module (all of
TARGETS) so many mutants (30) are drawn, and the test files that concern it are run against each with `-x`. The
mutated source goes to the import of a forked child alone; no file is written. A mutant that a test fails on, or that
takes more than three times the CPU of the module as it is, is killed. Survivors are told as a change of lines, unless
`survivors.md` beside this file says why they change nothing. Exit code 1 where one is unexplained.
"""

from __future__ import annotations

import argparse
import ast
import copy
import difflib
import importlib.util
import os
import random
import resource
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, SourceFileLoader
from pathlib import Path
from types import CodeType, ModuleType

ROOT = Path(__file__).resolve().parents[2]
EXPLAINED = Path(__file__).with_name("survivors.md")
SPARE_S = 5.0
"""CPU that every mutant gets on top of three times what the module as it is takes."""

TARGETS = {
    "valvelab.conformity.decision": ("test_decision.py",),
    "valvelab.tails": ("test_tails.py",),
    "valvelab.springs.rate": ("test_springs_numbers.py", "test_regression_reference.py"),
    "valvelab.phasing.centreline": ("test_phasing.py",),
    "valvelab.phasing.dead_centre": ("test_phasing.py",),
    "valvelab.phasing.piston": ("test_phasing.py",),
    "valvelab.phasing.timing": ("test_phasing.py",),
    "valvelab.phasing.degreeing": ("test_phasing.py",),
    "valvelab.sets.hull_bound": ("test_set_tightness.py",),
    "valvelab.sets.windows": ("test_sets.py", "test_set_search.py"),
    "valvelab.sets.seating": ("test_sets.py", "test_set_search.py"),
    "valvelab.lobe.presence": ("test_presence.py",),
    "valvelab.lobe.events": ("test_lobe_events.py", "test_presence.py", "test_lobe_characteristics.py"),
    "valvelab.lobe.base_circle": ("test_base_circle.py",),
}

COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Div, ast.Mod: ast.Mult,
    ast.Pow: ast.Mult, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
NAMES = {"min": "max", "max": "min", "all": "any", "any": "all", "argmin": "argmax", "argmax": "argmin"}


@dataclass(frozen=True)
class Mutant:
    """The whole source of a module with one small fault, and the lines it changes, as they were and as they are."""

    source: str
    old: str
    new: str


def changed(node: ast.AST) -> Iterator[ast.AST]:
    """This node with one small fault each, its own, not one of its parts."""
    match node:
        case ast.Compare():
            for at, operator in enumerate(node.ops):
                ops = [*node.ops[:at], COMPARISONS[type(operator)](), *node.ops[at + 1 :]]
                yield ast.Compare(node.left, ops, node.comparators)
        case ast.BinOp() if type(node.op) in ARITHMETIC:
            yield ast.BinOp(node.left, ARITHMETIC[type(node.op)](), node.right)
        case ast.AugAssign() if type(node.op) in ARITHMETIC:
            yield ast.AugAssign(node.target, ARITHMETIC[type(node.op)](), node.value)
        case ast.BoolOp():
            yield ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values)
        case ast.UnaryOp(op=ast.Not() | ast.USub()):
            yield node.operand
        case ast.Constant():
            yield from map(ast.Constant, _other_values(node.value))
        case ast.Call():
            yield from _changed_call(node)


def _other_values(value: object) -> list[bool | int | float]:
    """The other truth, the whole numbers beside one, twice a number; none for a text."""
    match value:
        case bool():
            return [not value]
        case int():
            return [value + step for step in (1, -1) if value + step >= 0]
        case float():
            return [2.0 * value or 1.0]
    return []


def _changed_call(node: ast.Call) -> Iterator[ast.AST]:
    """Another function for this one, and each bound of a clip left out."""
    name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
    if name in NAMES:
        other = copy.deepcopy(node)
        if isinstance(other.func, ast.Attribute):
            other.func.attr = NAMES[name]
        else:
            other.func = ast.Name(NAMES[name])
        yield other
    if name == "clip":
        for back in (1, 2):
            arguments: list[ast.expr] = [*node.args]
            arguments[-back] = ast.Constant(None)
            yield ast.Call(node.func, arguments, node.keywords)


def parts(node: ast.AST) -> Iterator[ast.AST]:
    """What computes in this node: no annotations, decorators, texts, or what is only raised."""
    if isinstance(node, ast.Raise | ast.JoinedStr | ast.Import | ast.ImportFrom):
        return
    yield node
    for name, value in ast.iter_fields(node):
        if name in {"annotation", "returns", "decorator_list", "type_params"}:
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST):
                yield from parts(child)


def mutants(source: str) -> list[Mutant]:
    """Every mutant of a module, in the order of its source."""
    lines = source.encode().splitlines(keepends=True)
    starts = [0]
    for line in lines:
        starts.append(starts[-1] + len(line))
    made = []
    for node in parts(ast.parse(source)):
        for other in changed(node):
            text = ast.unparse(ast.fix_missing_locations(other))
            text = text if isinstance(node, ast.AugAssign | ast.Constant) else f"({text})"
            assert isinstance(node, ast.expr | ast.stmt)
            first, last = node.lineno - 1, (node.end_lineno or node.lineno) - 1
            before = source.encode()[: starts[first] + node.col_offset]
            after = source.encode()[starts[last] + (node.end_col_offset or 0) :]
            whole = (before + text.encode() + after).decode()
            old = b"".join(lines[first : last + 1]).decode()
            made.append(Mutant(whole, old, whole.encode()[starts[first] :].splitlines()[0].decode() + "\n"))
    return made


class _Loader(SourceFileLoader):
    """Loads a module from a source that isn't in its file."""

    def __init__(self, name: str, path: str, source: str) -> None:
        super().__init__(name, path)
        self.source = source

    def get_code(self, _name: str) -> CodeType:
        return compile(self.source, self.path, "exec")


@dataclass
class _Finder(MetaPathFinder):
    """Finds one module before all others do."""

    name: str
    source: str

    def find_spec(self, name: str, _path: Sequence[str] | None, _target: ModuleType | None = None) -> ModuleSpec | None:
        if name != self.name:
            return None
        path = str(file_of(name))
        return importlib.util.spec_from_file_location(name, path, loader=_Loader(name, path, self.source))


def file_of(module: str) -> Path:
    """Where a module's source lies."""
    return ROOT.joinpath(*module.split(".")).with_suffix(".py")


def begin(module: str, source: str, cpu_s: float) -> int:
    """A child that runs the module's tests against this source, with so much CPU; its process number."""
    child = os.fork()
    if child:
        return child
    import pytest

    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_CPU, (int(cpu_s) + 1, int(cpu_s) + 2))
    signal.alarm(int(20.0 * cpu_s))  # what waits takes no CPU
    nowhere = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(nowhere, stream)
    code = 1
    try:
        sys.meta_path.insert(0, _Finder(module, source))
        files = [str(ROOT / "tests" / file) for file in TARGETS[module]]
        code = int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", "-p", "no:xdist", *files]))
    finally:
        os._exit(code)


def ended() -> tuple[int, bool, float]:
    """Wait for a child: its number, whether its tests passed, and its CPU in s."""
    child, status, used = os.wait3(0)
    return child, os.waitstatus_to_exitcode(status) == 0, used.ru_utime + used.ru_stime


def ready() -> None:
    """Load what every child needs, so that none has to; repeatable choices of invented cases."""
    os.environ.update(CI="true", OMP_NUM_THREADS="1")
    os.chdir(ROOT)
    sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
    for name in ("numpy", "scipy.stats", "scipy.optimize", "pytest", "pydantic"):
        importlib.import_module(name)


def survivors(
    module: str, most: int, seed: int, workers: int = 2, wanted: Callable[[Mutant], bool] = lambda _mutant: True
) -> tuple[int, float, list[Mutant]]:
    """Draw mutants of a module and run its tests against each: how many were, CPU in s, and those that survived.

    Raises RuntimeError where the tests fail on the module as it is.
    """
    source = file_of(module).read_text(encoding="utf-8")
    begin(module, source, 600.0)
    _, passed, whole = ended()
    if not passed:
        raise RuntimeError(f"{module}: its tests fail on the module as it is")
    found = [mutant for mutant in mutants(source) if wanted(mutant)]
    chance = random.Random(f"{seed} {module}")  # noqa: S311 - a sample, no secrets
    waiting = chance.sample(found, min(most, len(found)))
    drawn, used, alive = len(waiting), whole, []
    running: dict[int, Mutant] = {}
    while waiting or running:
        while waiting and len(running) < workers:
            mutant = waiting.pop()
            running[begin(module, mutant.source, 3.0 * whole + SPARE_S)] = mutant
        child, passed, cpu = ended()
        mutant = running.pop(child)
        used += cpu
        if passed:
            alive.append(mutant)
    return drawn, used, alive


def name_of(module: str, mutant: Mutant) -> str:
    """A mutant in one line, as `survivors.md` names it."""
    old = " ".join(mutant.old.split())
    return f"{module.removeprefix('valvelab.')}: {old} → {' '.join(mutant.new.split())}"


def explained() -> str:
    """The table of survivors that change nothing; in it a | of code is written with a backslash."""
    return EXPLAINED.read_text(encoding="utf-8").replace("\\|", "|") if EXPLAINED.exists() else ""


def main() -> None:
    """Mutate, and say what survived."""
    parser = argparse.ArgumentParser(description="small faults in the numerical rooms against their tests")
    parser.add_argument("modules", nargs="*", help="a module of TARGETS, with or without its first name")
    parser.add_argument("--most", type=int, default=30)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    ready()
    table, bad = explained(), 0
    for module in asked.modules or TARGETS:
        name = module if module.startswith("valvelab.") else f"valvelab.{module}"
        drawn, used, alive = survivors(name, asked.most, asked.seed, asked.workers)
        unexplained = [mutant for mutant in alive if f"`{name_of(name, mutant)}`" not in table]
        bad += len(unexplained)
        print(
            f"{name}: {drawn - len(alive)} killed, {len(alive)} survived of {drawn}; "
            f"{len(alive) - len(unexplained)} explained; {used:.0f} s of CPU",
            flush=True,
        )
        for mutant in unexplained:
            print(f"  {name_of(name, mutant)}")
            original = file_of(name).read_text(encoding="utf-8").splitlines(keepends=True)
            lines = difflib.unified_diff(original, mutant.source.splitlines(keepends=True), n=1)
            print("".join(f"    {line}" for line in [*lines][2:]), flush=True)
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
