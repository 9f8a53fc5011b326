"""Drills and exercises: plan (what a file says), pick (which target), engine (what next), score (the result)."""
