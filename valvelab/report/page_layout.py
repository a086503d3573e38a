"""The page layout library, loaded without a pattern that it builds for web addresses in running text.

That pattern ignores case over most of Unicode: building it takes as long as drawing a page, and no paper here needs it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cached_property
from typing import Any

from reportlab import rl_config

__all__ = [
    "BaseDocTemplate", "CondPageBreak", "Flowable", "Frame", "KeepTogether", "PageBreak", "PageTemplate", "Spacer",
    "TextFlow", "TopPadder",
]  # fmt: skip

rl_config.useA85 = 0  # streams stay binary: the finished file packs all of them anew


class _Unbuilt:
    """A pattern that is built when it is first asked for."""

    def __init__(self, pattern: str, flags: int) -> None:
        self._stated = pattern, flags

    @cached_property
    def match(self) -> Any:
        """As of the pattern."""
        return re.compile(*self._stated).match


@contextmanager
def _addresses_unbuilt() -> Iterator[None]:
    build = re.compile

    def compiled(pattern: Any, flags: int = 0) -> Any:
        wide = isinstance(pattern, str) and "\uffff" in pattern and flags & re.IGNORECASE
        return _Unbuilt(pattern, flags) if wide else build(pattern, flags)

    re.compile = compiled
    try:
        yield
    finally:
        re.compile = build


with _addresses_unbuilt():
    from reportlab.platypus import (
        BaseDocTemplate,
        CondPageBreak,
        Flowable,
        Frame,
        KeepTogether,
        PageBreak,
        PageTemplate,
        Spacer,
    )
    from reportlab.platypus import Paragraph as TextFlow
    from reportlab.platypus.flowables import TopPadder
