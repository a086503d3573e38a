"""Certificates from the window: written in the background from what was shown, by the one road to paper."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.errors import ValvelabError
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

    It is signed where a key is chosen; one that can't be opened writes nothing.
    """
    if not bench.may_write(path):
        return
    try:
        signer = chosen_signer(bench.settings.sign_with)
    except ValvelabError as error:
        bench.done.emit(Problem("error", path.name, str(error)))
        return
    units = bench.document.units
    day = date.today().isoformat()  # noqa: DTZ011 - the date on the wall where the paper is signed

    def write() -> Paper:
        from valvelab.job.certificates import write_shown
        from valvelab.workbench import jobs

        document, shown = made()
        with jobs.on_disk(document, shown.part) as part:
            done = write_shown(replace(shown, part=part), path, units, day, signer)
        if then is not None:
            then(path)
        return Paper(str(path.absolute()), done.number, done.made)

    def written(paper: Paper) -> None:
        taken(paper)
        if signer is not None:
            bench.done.emit(Problem("info", path.name, f"Certificate signed as {signer.public.name}: {path}"))

    bench.ask(f"Writing {path.name}", path.name, write, written)
