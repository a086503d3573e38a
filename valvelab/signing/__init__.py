"""Who wrote a paper: signing keys, whose keys are trusted, signatures."""
