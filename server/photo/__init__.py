"""Sheets read from a photograph against the light, or from two scans. Needs numpy and OpenCV, the extra ``photo``."""
