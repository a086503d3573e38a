"""The contour of a lobe and its contact under a follower."""
