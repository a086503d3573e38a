"""Forms of a figure as a file, by ending."""

from __future__ import annotations

ENDINGS = (".svg", ".png", ".pdf")
