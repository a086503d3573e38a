"""Where the one-folder build starts: the libraries that a bare system lacks, then the installed program's own entry."""

import ctypes
import sys
from pathlib import Path

#: system libraries that Qt's window is linked to; a desktop has them, with what its graphics driver wants, and its own
#: go before those that lie in `fallback`; in the order in which they want each other
FALLBACK = (
    "libXau.so.6", "libbsd.so.0", "libmd.so.0", "libXdmcp.so.6", "libxcb.so.1", "libX11.so.6", "libGLdispatch.so.0",
    "libGLX.so.0", "libGL.so.1", "libEGL.so.1", "libbrotlicommon.so.1", "libbrotlidec.so.1", "libpng16.so.16",
    "libfreetype.so.6", "libexpat.so.1", "libfontconfig.so.1",
)  # fmt: skip


def load_missing() -> None:
    """Load what the system doesn't have, so that Qt finds it by its name."""
    folder = Path(getattr(sys, "_MEIPASS", ".")) / "fallback"
    for name in FALLBACK:
        try:
            ctypes.CDLL(name)
        except OSError:
            if (folder / name).exists():
                ctypes.CDLL(str(folder / name))


if __name__ == "__main__":
    if sys.platform == "linux":
        load_missing()
    from valvelab.__main__ import main

    sys.exit(main())
