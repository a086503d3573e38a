"""What a plot shows, described without any drawing toolkit."""
