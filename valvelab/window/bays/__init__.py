"""One view a bay; `view` says what a view is."""
