"""What stands there: organisations, buildings, sections, treatments and events."""

__version__ = "0.1.0"
