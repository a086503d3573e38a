"""Rule lift by an indicator at the retainer: readings in, lift with its uncertainty out."""
