"""fieldctl: controller of a practice field for avalanche companion rescue (map of the house: DEVELOPERS.md)."""

__version__ = "0.1.0"
