"""The window: Qt and pyqtgraph live here and nowhere else.

`start.run(files)` opens it. `bench` joins the document to Qt; `shell` makes bars, docks and pages, `main_window` gives
them life; `bays/` holds the views. `drawing`, `heat_map`, `dial`, `panel` and `tables` draw what `valvelab.figures`
and the results describe; `theme` and `icons` give the looks; `crash` is what happens after something unforeseen.
"""
