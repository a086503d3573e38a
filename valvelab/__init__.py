"""valvelab: inspection of camshafts, valve springs and their place in the engine."""

__version__ = "0.2.0"
