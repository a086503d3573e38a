"""What the window shows, without Qt.

`document` holds the frozen state, `edits` the functions that make the next one, `history` the way back, `background`
the work done in the background, `bays` what the bench can inspect, `contents` what a file holds, `settings` and
`recovery` what outlives a run.
"""
