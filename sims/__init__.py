"""The simulated mountain: stands in for targets, cables, brokers and searchers (map: DEVELOPERS.md)."""
