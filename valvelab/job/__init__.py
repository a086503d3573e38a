"""Jobs: what is inspected how, the road from there to paper, and back."""
