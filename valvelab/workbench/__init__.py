"""What the window shows, without Qt.

`document` holds the frozen state, `edits` the functions that make the next one, `history` the way back, `questions`
the work done in the background, `stations` what the bench can inspect, `reading` files to contents, `settings` and
`recovery` what outlives a run.
"""
