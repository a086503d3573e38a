"""`valvelab sets`: the most matched sets of springs, then the tightest."""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from valvelab.cli.options import add_columns, add_common, quantity
from valvelab.cli.output import finish, page
from valvelab.cli.springs_command import question_of
from valvelab.errors import BadFile, WrongUsage
from valvelab.units import System

if TYPE_CHECKING:
    from valvelab.inspection.springs.check_sets import StatedSets
    from valvelab.inspection.springs.sets import PositionWish, SetsInspection, SetsQuestion
    from valvelab.records.sets_result import SetsResult
    from valvelab.report.assembly import Part
    from valvelab.sets.tray import Progress


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("readings", type=Path, metavar="READINGS", help="spring readings (text table or XLSX)")
    parser.add_argument("--size", type=int, metavar="N", help="springs in a set, 2 to 32")
    parser.add_argument(
        "--within",
        action="append",
        default=[],
        metavar="TEXT",
        help='largest range in a set, such as "seat_force=6 N"; repeatable '
        "(seat_force, open_force, rate, solid_height, free_length)",
    )
    parser.add_argument(
        "--time-limit", default="30", metavar="S", help="seconds after which the best found counts (30)"
    )
    parser.add_argument(
        "--quick", action="store_true", help="prove the number of sets, but leave their total spread unproven"
    )
    parser.add_argument("--with-rejected", action="store_true", help="springs that the spec rejects take part as well")
    parser.add_argument("--together", action="append", default=[], metavar="A,B", help="springs that stay in one set")
    parser.add_argument("--apart", action="append", default=[], metavar="A,B", help="two springs never in one set")
    parser.add_argument(
        "--position",
        action="append",
        default=[],
        metavar="TEXT",
        help='a place that wants its own set, such as "intake: size=8, seat_force=240 N..260 N"; repeatable',
    )
    parser.add_argument(
        "--set",
        action="append",
        default=[],
        dest="given",
        metavar="A,B,C",
        help="a set made by hand; repeatable: these sets are described against the limits instead of matching",
    )
    add_common(parser)
    add_columns(parser)


def run(args: argparse.Namespace) -> int:
    """Match one file of readings."""
    result = _inspect(args, _question(args), _reporter(args)).result
    return finish(result, args, lambda: text_of(result, args.units))


def part(args: argparse.Namespace) -> Part:
    """The command's part of a certificate."""
    from valvelab.report.springs_certificate import sets_part

    question = _question(args)
    return sets_part(_inspect(args, question), question.springs.table, args.units)


def checked_part(args: argparse.Namespace, stated: Mapping[str, Any]) -> Part:
    """The command's part of a certificate with an answer that was found before, checked instead of looked for again."""
    from valvelab.inspection.springs.check_sets import check_sets
    from valvelab.report.springs_certificate import sets_part

    if args.given:
        return part(args)
    question = _question(args)
    return sets_part(check_sets(question, _stated(stated)), question.springs.table, args.units)


def _stated(document: Mapping[str, Any]) -> StatedSets:
    """The sets that a result's JSON claims."""
    from valvelab.inspection.springs.check_sets import StatedSets

    try:
        sets = tuple((str(row["position"] or ""), tuple(map(str, row["springs"]))) for row in document["sets"])
        bounds = int(document["bound_sets"]), float(document["bound_total_spread"])
    except (KeyError, TypeError, ValueError):
        raise BadFile("result of sets", "sets", "no sets with their bounds", "what valvelab sets answers") from None
    if not math.isfinite(bounds[1]):
        raise BadFile("result of sets", "bound_total_spread", f"{bounds[1]}", "a number")
    return StatedSets(sets, *bounds)


def _inspect(
    args: argparse.Namespace, question: SetsQuestion, report: Callable[[Progress], None] | None = None
) -> SetsInspection:
    """Match, or describe the sets given."""
    from valvelab.inspection.springs.given_sets import describe_sets
    from valvelab.inspection.springs.sets import inspect_sets

    if args.given:
        return describe_sets(question, tuple(_names(text, 1) for text in args.given))
    return inspect_sets(question, report)


def _question(args: argparse.Namespace) -> SetsQuestion:
    from valvelab.inspection.springs.sets import SetsQuestion

    positions = tuple(_position(text) for text in args.position)
    size = args.size if args.size is not None or not positions else sum(wish.size for wish in positions)
    if size is None:
        raise WrongUsage("sets: expected --size N")
    return SetsQuestion(
        springs=question_of(args),
        size=size,
        within=dict(_within(text) for text in args.within),
        together=tuple(_names(text, 2) for text in args.together),
        apart=tuple(_two(text) for text in args.apart),
        positions=positions,
        time_limit_s=quantity(args.time_limit, "time", "--time-limit"),
        thorough=not args.quick,
        with_rejected=args.with_rejected,
    )


def _quantity(name: str, text: str, option: str) -> float:
    from valvelab.inspection.characteristics import by_name
    from valvelab.inspection.springs.sets import MATCHED

    characteristic = by_name(name) if name in MATCHED else None
    if characteristic is None:
        raise WrongUsage(f"{option} {name!r}: expected one of {', '.join(MATCHED)}")
    return quantity(text.strip(), characteristic.dimension, f"{option} {name}", "any")


def _within(text: str) -> tuple[str, float]:
    name, equals, value = text.partition("=")
    if not equals:
        raise WrongUsage(f'--within {text!r}: expected NAME=LIMIT, such as "seat_force=6 N"')
    return name.strip(), _quantity(name.strip(), value, "--within")


def _names(text: str, least: int) -> tuple[str, ...]:
    names = tuple(name.strip() for name in text.split(",") if name.strip())
    if len(names) < least:
        raise WrongUsage(f"--together/--apart {text!r}: expected {least} springs or more with commas between")
    return names


def _two(text: str) -> tuple[str, str]:
    names = _names(text, 2)
    if len(names) != 2:
        raise WrongUsage(f"--apart {text!r}: expected two springs")
    return names[0], names[1]


def _position(text: str) -> PositionWish:
    """`intake: size=8, seat_force=240 N..260 N` as a wish."""
    from valvelab.inspection.springs.sets import PositionWish

    name, colon, rest = text.partition(":")
    size = None
    between: dict[str, tuple[float, float]] = {}
    for part in rest.split(",") if colon else []:
        key, _, value = (piece.strip() for piece in part.partition("="))
        if key == "size" and value.isdecimal():
            size = int(value)
            continue
        low, dots, high = value.partition("..")
        if not dots:
            raise WrongUsage(f"--position {text!r}: {part.strip()!r}, expected NAME=LOW..HIGH")
        ends = [_quantity(key, end, "--position") if end.strip() else None for end in (low, high)]
        between[key] = (-math.inf if ends[0] is None else ends[0], math.inf if ends[1] is None else ends[1])
    if size is None:
        raise WrongUsage(f'--position {text!r}: expected a size, such as "intake: size=8"')
    return PositionWish(name.strip(), size, between)


def _reporter(args: argparse.Namespace) -> Callable[[Progress], None] | None:
    """Progress on a terminal only."""
    if args.quiet or args.json or not sys.stderr.isatty():
        return None

    def report(progress: Progress) -> None:
        bound = "" if progress.bound_sets is None else f" of at most {progress.bound_sets}"
        line = f"{progress.sets} sets{bound}"
        if progress.total_spread is not None:
            line += f", total spread {progress.total_spread:.3f}, at least {progress.bound_total_spread or 0.0:.3f}"
        sys.stderr.write(f"\r\033[K{line}")
        sys.stderr.flush()

    return report


def text_of(result: SetsResult, system: System) -> str:
    """The readable answer: what is proven, a row a set, the springs of each, what is left over."""
    from valvelab.tables.springs import kept_out, left_over, proof, set_tables

    return page(proof(result), set_tables(result, system), left_over(result.left_over), kept_out(result.excluded))
