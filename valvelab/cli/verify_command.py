"""`valvelab verify`: a certificate computed and drawn again from what it carries."""

from __future__ import annotations

import argparse
from pathlib import Path

from valvelab.cli.output import Look, look_of, page, tell_notes, told
from valvelab.cli.streams import answer
from valvelab.job.verify import verify
from valvelab.records.certificate_result import VerifyResult
from valvelab.report.assembly import banner
from valvelab.tables.description import Table

DIFFERS = 1
UNDECIDED = 4
SHOWN = 20
UNSIGNED = "It carries no signature, so agreement does not prove who wrote it."
TRUSTED = 'It is signed with the key {fingerprint}, trusted here as "{name}".'
UNKNOWN = (
    'It is signed with the key {fingerprint}, which is not trusted here; the paper calls it "{name}". Compare the '
    "fingerprint with the signer; valvelab key trust FILE then trusts it."
)
BROKEN = "Its signature is broken: found {stated}, expected {recomputed}."


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("certificate", type=Path, metavar="F.pdf", help="a certificate written by valvelab")
    parser.add_argument("--json", action="store_true", help="one JSON document on standard output")
    parser.add_argument("--quiet", action="store_true", help="no notes on standard error")


def run(args: argparse.Namespace) -> int:
    """Take the inputs out, inspect them, draw them, compare with the paper."""
    result = verify(args.certificate)
    answer(result.model_dump_json(indent=1) if args.json else text(result, look_of(args)))
    tell_notes(result.notes, args)
    return exit_code_of(result)


def exit_code_of(result: VerifyResult) -> int:
    """0 agrees, 1 differs, 4 whole, but signed by a key nobody trusts here or with another version's figures."""
    if not result.agrees:
        return DIFFERS
    if result.signature.state == "unknown_key":
        return UNDECIDED
    return UNDECIDED if result.differing or any(note.level == "warning" for note in result.notes) else 0


def text(result: VerifyResult, look: Look) -> str:
    """What was compared and where it differs."""
    verdict = banner(result.verdicts)
    again = f"computed again: {verdict.word}. {verdict.sentence}"
    parts = [told(f"certificate {result.number} {_in_words(result)}", look), told(again, look)]
    if result.differing:
        rows = tuple((row.where, row.stated, row.recomputed) for row in result.differing[:SHOWN])
        parts.append(page(Table(("where", "stated", "computed again"), rows, left=3), look=look))
    more = len(result.differing) - SHOWN
    if more > 0:
        parts.append(f"and {more} more")
    if result.replaces is not None:
        parts.append(told(f"It {result.replaces.sentence}", look))
    return "\n".join([*parts, *(told(sentence, look) for sentence in _signed(result))])


def _signed(result: VerifyResult) -> list[str]:
    """Who signed it, as far as that is known here."""
    match result.signature.state:
        case "none":
            return [UNSIGNED] if result.agrees else []
        case "broken":
            return [BROKEN.format(**dict(next(row for row in result.differing if row.where == "signature")))]
        case "trusted":
            return [TRUSTED.format(**dict(result.signature))]
        case "unknown_key":
            return [UNKNOWN.format(**dict(result.signature))]


def _in_words(result: VerifyResult) -> str:
    again = f"{result.compared} figures and words computed again"
    if not result.agrees:
        shown = {True: "", None: "", False: "; the file is not the one that is drawn from it"}
        places = f"{len(result.differing)} place{'s' * (len(result.differing) != 1)}"
        return f"DIFFERS from what it carries in {places}, {again}{shown[result.drawn_page_agrees]}"
    if result.differing:
        return (
            f"is whole, as {result.written_by} wrote it; of {again}, {len(result.differing)} come out otherwise under "
            "this version's methods"
        )
    if result.drawn_page_agrees is None:
        return f"agrees in its figures: {again}, none differs beyond rounding; what is drawn could not be compared"
    return f"agrees: {again} and every page drawn again, none differs"
