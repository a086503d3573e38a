"""The valve gear at speed."""
