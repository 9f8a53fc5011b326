"""What the minutes went into: one exercise shown afterwards, an assessment's sheet, a season that can be read."""
