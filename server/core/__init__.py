"""The pure core: standard library only; no files, no PDF, no web. Lengths are millimetres."""
