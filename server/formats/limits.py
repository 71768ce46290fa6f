"""How much one piece of art, one deck list and one folder may hold, each with its reason.

The command line takes these as they are; a host who shares the machine can pass a narrower ``ArtLimits``.
"""

from __future__ import annotations

from dataclasses import dataclass

# 64 megapixels: an A4 page at 800 ppi, far above any card, and 256 MiB when decoded with alpha. Above it a file is
# more likely a trap or a slip than art.
MAX_PIXELS = 64_000_000
# What a decoder may hold for one picture: 64 megapixels as Pillow keeps them, and once more, so that a build stays
# under 600 MB. In their usual forms PNG, JPEG and TIFF always keep to it, AVIF up to 55 megapixels and WebP, whose
# decoder holds three copies, up to 43: an A4 page at 600 ppi has 35.
MAX_DECODING_BYTES = 525_000_000
# PDF and SVG are read by a process of their own, which is there besides.
WORKER_BYTES = 55_000_000
# Three times a thick deck, and still laid out in seconds; a PDF that claims 100,000 pages is refused by its count.
MAX_PDF_PAGES = 2_000
# 64 megapixels of 16-bit RGB without compression are 384 MB; nothing larger can be under the pixel cap and sensible.
MAX_FILE_BYTES = 512 * 1024 * 1024
# No card is 20 times as long as it is wide, and a sliver of 1 x 60,000,000 would leave a PDF's number range.
MAX_ASPECT = 20.0
# PDF units reach 14,400 per side (ISO 32000-1, Annex C): 5,080 mm. Under 1 mm there is nothing to print.
MIN_PAGE_MM, MAX_PAGE_MM = 1.0, 5080.0
# A deck list names a few thousand cards at most; a megabyte holds about 20,000 lines.
MAX_DECK_LIST_BYTES = 1024 * 1024
MAX_DECK_LIST_LINES = 5_000
# No game wants a thousand of one card; a larger number is a slip such as a year in the file name.
MAX_COPIES = 999
# 2,000 sheets of nine and more: days of cutting. Copies that come to more were multiplied by mistake.
MAX_CARDS = 20_000
# A folder of this many files, or this deep, was chosen by mistake (a home folder, a drive).
MAX_FILES = 10_000
MAX_FOLDER_DEPTH = 12
# A map of a whole city draws with some 20 MB; what a card's page or form unpacks to beyond this is a trap.
MAX_STREAM_BYTES = 64 * 1024 * 1024
# Chunks of one PNG: 500,000 of the common 8 KiB would be 4 GB, so only a trap has more.
MAX_PNG_CHUNKS = 500_000


@dataclass(frozen=True, slots=True)
class ArtLimits:
    """What a reader refuses by header alone: pixels of a picture (also inside a PDF), pages, bytes of a file; what
    a stream or a page's content in a PDF may unpack to; how many cards a deck may ask for, copies counted; and what
    memory a picture may take while it is decoded."""

    pixels: int = MAX_PIXELS
    pdf_pages: int = MAX_PDF_PAGES
    file_bytes: int = MAX_FILE_BYTES
    cards: int = MAX_CARDS
    stream_bytes: int = MAX_STREAM_BYTES
    decoding_bytes: int = MAX_DECODING_BYTES


DEFAULT_LIMITS = ArtLimits()
