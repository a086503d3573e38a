"""One spring and many: forces, rate, coil bind, stress, matching, shims."""
