"""From a result to a certificate."""
