"""Files that a certificate or a job file carries, laid out in a folder of their own for as long as they are read."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from valvelab.errors import BadFile, CannotEvaluate, ValvelabError
from valvelab.writing import make_folder, write_whole


def lay_out(files: Mapping[str, bytes], folder: Path, name: str, *, private: bool = False) -> None:
    """Write files under the names they are carried by, where `private` for the user alone.

    name: that of what carries them, for a refusal.
    """
    for carried, content in files.items():
        target = folder / carried
        if not Path(os.path.normpath(target)).is_relative_to(os.path.normpath(folder)):
            raise BadFile(name, "files carried", f"{carried!r} outside", "names within it")
        if any((folder / above).is_file() for above in Path(carried).parents):
            raise BadFile(name, "files carried", f"{carried!r} beneath a file", "a name that is free")
        make_folder(target.parent, private=private)
        write_whole(target, content, private=private)


@contextmanager
def without(folder: Path, name: str) -> Iterator[None]:
    """Refusals that name what carries the files, never the folder they lie in, which says nothing to the reader."""
    try:
        yield
    except BadFile as error:
        file = f"{name}, {error.file.removeprefix(str(folder)).lstrip(os.sep)}"
        found, wanted = (plainly(text, folder) for text in (error.found, error.expected))
        raise BadFile(file, error.place, found, wanted) from None
    except CannotEvaluate as error:
        raise CannotEvaluate(error.reason, f"{name}: {plainly(str(error), folder)}") from None
    except ValvelabError as error:
        raise BadFile(name, "job.toml", plainly(str(error), folder), "parts that valvelab inspects") from None


def plainly(text: str, folder: Path) -> str:
    """A text that names files by what they are called within a folder."""
    return text.replace(f"{folder}{os.sep}", "").replace(str(folder), "")
