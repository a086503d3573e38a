"""What a table shows, without any toolkit."""
