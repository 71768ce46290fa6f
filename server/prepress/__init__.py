"""One way from a deck to its sheets, for pages and command line alike: prepare it, summarise it, build it."""

from __future__ import annotations

from server.prepress.build import build
from server.prepress.prepare import Prepared, prepare, prove
from server.prepress.summary import pdf_name, plan_file, summarise

__all__ = ["Prepared", "build", "pdf_name", "plan_file", "prepare", "prove", "summarise"]
