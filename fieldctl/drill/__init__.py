"""Drills and exercises: plan (what a file says), pick (which target), engine (what happens next), score (the result)."""
