"""One lobe: from the readings to a fitted profile and its characteristics."""
