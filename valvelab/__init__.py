"""valvelab: inspection of camshafts, valve springs and their place in the engine."""

__version__ = "0.1.0"
