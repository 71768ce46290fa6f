"""The printer that a deck's settings name, as a core record."""

from __future__ import annotations

from server.core.registration.printer import Printer
from server.core.registration.printer_file import printer_from_json
from server.core.settings import DeckSettings
from server.errors import BadValue, NotThere
from server.store import Store


def chosen_printer(store: Store, settings: DeckSettings) -> Printer | None:
    """The printer of ``settings``, None for none. Raises BadValue where it isn't kept any more or can't be read."""
    if not settings.printer:
        return None
    try:
        row = store.printers.get(settings.printer)
    except NotThere:
        raise BadValue(f"printer: {settings.printer[:40]!r} isn't kept here.", "Choose another.") from None
    if row.deleted:
        raise BadValue(f"printer: {row.name!r} has been deleted.", "Restore it on the True-up page, or choose another.")
    return printer_from_json(dict(row.profile), row.name)
