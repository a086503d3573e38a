"""Certificates from the window: made in the background from what was shown, by the one road to paper."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from valvelab.errors import ValvelabError
from valvelab.language import say
from valvelab.window.bench import Bench
from valvelab.window.signing_menu import chosen_signer
from valvelab.workbench.document import Document, Paper, Problem

if TYPE_CHECKING:  # the schema of jobs is not wanted before the first paint
    from valvelab.records.job import Shown

Made = Callable[[], "tuple[Document, Shown]"]
"""The document whose files stand as they were typed, and what a bay puts on paper; made in the background."""


def write_paper(
    bench: Bench, path: Path, made: Made, taken: Callable[[Paper], object], then: Callable[[Path], object] | None = None
) -> None:
    """Write a certificate to a file that is free to be written; `taken` gets it, `then` is done with it before.

    It is signed where a key is chosen; one that can't be opened writes nothing. Without `then` it is offered to be
    opened.
    """
    writer = _writer(bench, made, path.name) if bench.may_write(path) else None
    if writer is None:
        return
    write, signed_as = writer

    def work() -> Paper:
        paper = write(path)
        if then is not None:
            then(path)
        return paper

    def written(paper: Paper) -> None:
        taken(paper)
        if signed_as:
            bench.done.emit(
                Problem(
                    "info",
                    path.name,
                    say("Certificate signed as {signed_as}: {path}").format(signed_as=signed_as, path=path),
                )
            )
        if then is None:
            bench.wrote.emit(str(path))

    bench.ask(say("Writing {name}").format(name=path.name), path.name, work, written)


def preview_paper(bench: Bench, name: str, made: Made, taken: Callable[[bytes], object]) -> None:
    """Make a certificate that no file keeps; `taken` gets its PDF. name: what it is called. Signed as one written."""
    writer = _writer(bench, made, name)
    if writer is None:
        return

    def work() -> bytes:
        with TemporaryDirectory(prefix="valvelab-print-") as folder:
            path = Path(folder) / name
            writer[0](path)
            return path.read_bytes()

    bench.ask(say("Drawing {name}").format(name=name), name, work, taken)


def _writer(bench: Bench, made: Made, about: str) -> tuple[Callable[[Path], Paper], str] | None:
    """What writes a certificate of the bench as it is now, and as whom it is signed; None without the key chosen."""
    try:
        signer = chosen_signer(bench.settings.sign_with)
    except ValvelabError as error:
        bench.done.emit(Problem("error", about, str(error)))
        return None
    units, stated, place = bench.document.units, bench.document.particulars, bench.place
    day = date.today().isoformat()  # noqa: DTZ011 - the date on the wall where the paper is signed

    def write(path: Path) -> Paper:
        from valvelab.job.certificates import write_shown
        from valvelab.workbench import jobs
        from valvelab.workbench.defaults import headed

        document, shown = made()
        with jobs.on_disk(document, shown.part) as part:
            done = write_shown(replace(shown, part=part), path, units, day, signer, headed(stated, place))
        return Paper(str(path.absolute()), done.number, done.made)

    return write, "" if signer is None else signer.public.name
