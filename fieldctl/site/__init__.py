"""The site: model (values), files (site.toml), survey (where things lie), snow (how deep today), day (open, closed)."""
