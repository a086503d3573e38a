"""The window: Qt and pyqtgraph live here and nowhere else.

`start.run(files)` opens it. `bench` joins the document to Qt; `main_window` holds the docks; `stations/` the views;
`drawing`, `heat_map`, `dial` and `tables` draw what `valvelab.figures` and the results describe; `theme` and `icons`
give the looks; `crash` is what happens when something unforeseen is raised.
"""
