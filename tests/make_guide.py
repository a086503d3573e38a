"""The guide as HTML: `python tests/make_guide.py FOLDER` writes its pages, an index, and their pictures beside them."""

from __future__ import annotations

import shutil
import sys
from dataclasses import replace
from html import escape
from pathlib import Path

from markdown_it import MarkdownIt

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from valvelab.figures.meaning_figures import PICTURES, meaning_figure
from valvelab.inspection.characteristics import Characteristic
from valvelab.places import resources
from valvelab.report.figure_file import figure_bytes
from valvelab.report.page_model import FigureBlock
from valvelab.workbench import guide

HEIGHT_MM = 60.0

STYLE = """
body { font: 16px/1.5 system-ui, sans-serif; color: #16212c; background: #f6f8fa }
body { margin: 0 auto; max-width: 46rem; padding: 2rem }
nav a { margin-right: 1.2rem } a { color: #00609c }
pre { background: #fff; border: 1px solid #c9d2da; padding: .6rem .8rem; overflow-x: auto }
img { max-width: 100%; background: #fff } table { border-collapse: collapse } td, th { border: 1px solid #c9d2da }
td, th { padding: .2rem .5rem; text-align: left } nav { line-height: 2 }
blockquote { border-left: 4px solid #8a6100; margin-left: 0; padding-left: 1rem }
@media (prefers-color-scheme: dark) {
  body { color: #dde5ec; background: #151b21 } a { color: #6db7ea } pre { background: #1d252d; border-color: #3a4753 }
}
"""


def html(title: str, body: str) -> str:
    """A whole page with links to all the others."""
    links = "".join(f'<a href="{name}.html">{escape(text)}</a>' for name, text in guide.TITLES.items())
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{escape(title)}: valvelab</title>'
        f"<style>{STYLE}</style></head>\n<body><nav>{links}</nav>\n{body}</body></html>\n"
    )


def drawing_of(row: Characteristic) -> str:
    """Where the drawing of a characteristic lies; empty where it has none."""
    return f"meanings/{row.subject}_{row.name}.svg" if (row.subject, row.name) in PICTURES else ""


def pages() -> dict[str, str]:
    """File names and their HTML."""
    reader = MarkdownIt().enable("table")
    texts = {name: guide.page(name, drawing_of).replace("](../pictures/", "](pictures/") for name in guide.TITLES}
    made = {name: html(title, reader.render(texts[name])) for name, title in guide.TITLES.items()}
    listed = "".join(f'<li><a href="{name}.html">{escape(title)}</a></li>' for name, title in guide.TITLES.items())
    made["index"] = html("Guide", f"<h1>Guide</h1><ul>{listed}</ul>")
    return {f"{name}.html": text for name, text in made.items()}


def main() -> None:
    """Write them."""
    if len(sys.argv) != 2:
        sys.exit("expected one folder: python tests/make_guide.py FOLDER")
    folder = Path(sys.argv[1])
    (folder / "meanings").mkdir(parents=True, exist_ok=True)
    shutil.copytree(resources() / "pictures", folder / "pictures", dirs_exist_ok=True)
    for subject, name in PICTURES:
        figure = meaning_figure(subject, name)
        assert figure is not None
        plain = replace(figure, y_axis=replace(figure.y_axis, label=""))  # paper says the title by itself
        drawn = figure_bytes(FigureBlock(((plain,),), HEIGHT_MM), ".svg", "metric")
        (folder / "meanings" / f"{subject}_{name}.svg").write_bytes(drawn)
    for name, text in pages().items():
        (folder / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
