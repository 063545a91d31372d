"""fieldlog: an offline voice-and-photo field logger for motorcycle inspections."""

__version__ = "0.1.0"
__all__ = ["__version__"]
