"""Art files by their formats: one reader for each, which intake and drawing share."""
