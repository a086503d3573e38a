"""Every action once: text, shortcut, tip, icon, menu. The window makes its menus, bar and shortcut list from this."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from valvelab.language import LANGUAGES


@dataclass(frozen=True, slots=True)
class ActionRow:
    """The window's `do(name)` does it; `bar` puts the action on the tool bar."""

    name: str
    text: str
    shortcut: str
    tip: str
    icon: str
    menu: str
    bar: bool = False
    checkable: bool = False


ACTIONS = (
    ActionRow("new_job", "New job", "Ctrl+N", "Clear the bench for another job", "job", "Job"),
    ActionRow("open", "Open…", "Ctrl+O", "Open a job, or put files on the bench", "open", "Job", bar=True),
    ActionRow("save_job", "Save job", "Ctrl+S", "Keep the whole bench in one job file", "save", "Job", bar=True),
    ActionRow("save_job_as", "Save job as…", "Ctrl+Shift+S", "Keep the bench in another job file", "save", "Job"),
    ActionRow("add_job", "Add the files of another job…", "", "Put another job's files on the bench, to compare with",
              "job", "Job"),
    ActionRow("records", "Records…", "Ctrl+R", "Find what was inspected before, and see what became of a part",
              "records", "Job"),
    ActionRow("keep_records", "Keep in the records", "Ctrl+K",
              "Inspect all of the open job, and keep what was found with every byte it rests on", "records", "Job"),
    ActionRow("quit", "Quit", "Ctrl+Q", "Close the window", "remove", "Job"),
    ActionRow("sample", "Open the sample", "", "Put an invented sample for what is in front on the bench", "camshaft",
              "Bench"),
    ActionRow("type", "Type readings…", "Ctrl+T", "Type readings for what is in front into a table", "table", "Bench"),
    ActionRow("remove", "Take off the bench", "Ctrl+W", "Take the selected file off the bench", "remove", "Bench"),
    ActionRow("columns", "Assign columns…", "Ctrl+L", "Assign the columns of the selected file again", "columns",
              "Bench"),
    ActionRow("remembered", "Remembered columns…", "", "See the column assignments that are remembered, and forget one",
              "columns", "Bench"),
    ActionRow("limits", "Limits…", "Ctrl+J", "Write the limits that what is in front is judged by", "spec", "Bench",
              bar=True),
    ActionRow("reload", "Read again", "F5", "Read every file on the bench again", "reload", "Bench"),
    ActionRow("certificate", "Save certificate…", "Ctrl+Shift+P", "Write the certificate of this inspection (PDF)",
              "certificate", "Bench", bar=True),
    ActionRow("details", "Certificate details…", "Ctrl+Shift+D",
              "State part, serial, customer, job number, remarks, photographs and the head of this job's papers",
              "certificate", "Bench"),
    ActionRow("export", "Export…", "Ctrl+E", "Write results, curves, the cam card or a picture for other programs",
              "export", "Bench"),
    ActionRow("print", "Print…", "Ctrl+P",
              "See the paper of what is in front and print it; a lift check prints the car's page at once",
              "print", "Bench", bar=True),
    ActionRow("undo", "Undo", "Ctrl+Z", "Take back the last edit", "undo", "Edit", bar=True),
    ActionRow("redo", "Redo", "Ctrl+Shift+Z", "Do the edit again", "redo", "Edit", bar=True),
    ActionRow("units", "Inch units", "Ctrl+U", "Show metric or inch units", "units", "View", bar=True, checkable=True),
    ActionRow("scheme_system", "Colours of the desktop", "", "Follow the desktop's light or dark scheme", "scheme",
              "View", checkable=True),
    ActionRow("scheme_light", "Light colours", "", "Light colours", "scheme", "View", checkable=True),
    ActionRow("scheme_dark", "Dark colours", "", "Dark colours", "scheme", "View", checkable=True),
    ActionRow("scheme", "Light or dark", "Ctrl+D", "Change between light and dark", "scheme", "", bar=True),
    *(ActionRow(f"language_{code}", name, "", "The window's language from the next start on", "info", "Language",
                checkable=True) for code, name in {"system": "Language of the desktop", **LANGUAGES}.items()),
    ActionRow("larger", "Larger text", "Ctrl++", "Make all text larger", "larger", "View"),
    ActionRow("smaller", "Smaller text", "Ctrl+-", "Make all text smaller", "smaller", "View"),
    ActionRow("usual_text", "Usual text size", "Ctrl+Alt+0", "Make all text as large as the desktop has it", "usual",
              "View"),
    ActionRow("layout", "Usual layout", "", "Put every pane back where it was at first", "columns", "View"),
    ActionRow("cautions", "Cautions", "F2", "What to mind when working on valvetrains and with these results",
              "caution", "Help", bar=True),
    ActionRow("characteristics", "Characteristics", "F3",
              "What the characteristic that is chosen means, with its method and source; and every other", "info",
              "Help"),
    ActionRow("guide", "Guide", "Ctrl+F1", "How to degree a cam, match a tray, check a lift; what is measured and how",
              "info", "Help"),
    ActionRow("tour", "Tour", "", "Be led round the window once, on a sample where the bench is empty", "info", "Help"),
    ActionRow("about", "About valvelab", "F1", "Version, and every key of the program", "about", "Help"),
)  # fmt: skip

KEYS = (
    ("Alt and a letter", "Open a menu; the letter underlined in a row then takes it"),
    ("Tab, Shift+Tab", "The next field or table, or the one before"),
    ("Escape", "From a text back to the bench; out of the tour"),
    ("↑ ↓", "In the map of lobes: the next or the one before; in a table: another row"),
    ("Enter, Tab", "In readings typed: take the reading and go on to the next"),
    ("Ctrl+C, Ctrl+X, Ctrl+V, Del", "In readings typed: copy, cut, put in, empty"),
    ("Del, Shift+Space", "In limits: empty the cells chosen, or take out rows chosen as a whole; choose the whole row"),
    ("Wheel, drag", "In a plot: zoom and move along the angle"),
    ("Click", "On a place of a curve that is judged: its verdict"),
    ("Shift and drag", "In a plot: zoom to a box"),
    ("Double click", "In a plot: show everything again"),
    ("Right click", "In a plot or a table: copy it, save it, zoom to a box"),
    ("Ctrl+C", "In a table: copy the rows that are chosen, with their heads"),
    ("F4", "Lift check: the rule and the instrument, or the cars"),
    ("F6", "Lift check: the next car"),
    ("F7", "Lift check: set a reading aside, with the reason"),
    ("F8", "Lift check: the next reading with the valve shut, or at full lift"),
    ("F9", "Lift check: write the page of the car"),
    ("PgUp, PgDown", "Lift check: the valve before, or the next"),
)
"""Keys of parts of the window, and what they do there; `ACTIONS` and the bays have those of the whole."""


def with_letters(texts: Sequence[str]) -> list[str]:
    """Texts of a menu, each with a letter after `&` that no other has: the first of a word where one is free."""
    taken: set[str] = set()
    found = []
    for text in (text.replace("&", "") for text in texts):
        firsts = [at for at in range(len(text)) if at == 0 or text[at - 1] == " "]
        free = (at for at in (*firsts, *range(len(text))) if text[at].isalnum() and text[at].casefold() not in taken)
        at = next(free, None)
        taken |= set() if at is None else {text[at].casefold()}
        found.append(text if at is None else f"{text[:at]}&{text[at:]}")
    return found
