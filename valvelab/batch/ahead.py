"""The process that workers are forked from, begun before there is anything to do: it loads while the walk begins."""

from __future__ import annotations

import multiprocessing
from multiprocessing.context import BaseContext

PRELOADED = (
    "valvelab.batch.one_file", "valvelab.job.lobes", "valvelab.job.springs", "numpy.fft", "numpy.polynomial",
)  # fmt: skip
"""Imported once, by the process that the others are forked from."""
MOST_WORKERS = 256


def begin() -> None:
    """Let it start, where there is such a process; who calls waits for nothing."""
    if context().get_start_method() == "forkserver":
        from multiprocessing import forkserver

        forkserver.ensure_running()


def context() -> BaseContext:
    """How processes are started on this system."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    found = multiprocessing.get_context("forkserver")
    found.set_forkserver_preload(list(PRELOADED))
    return found
