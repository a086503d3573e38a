"""One view a station; `view` says what a view is."""
