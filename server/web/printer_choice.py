"""The printer that a deck's settings name, as a core record."""

from __future__ import annotations

from datetime import date

from server.core.art import Problem
from server.core.registration.printer import OLD_AFTER_DAYS, Printer
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


def age_problems(printer: Printer | None, today: date) -> tuple[Problem, ...]:
    """What to know of old readings; that there are none, planning says itself."""
    if printer is None or printer.state(today) != "old" or printer.trued_up is None:
        return ()
    return (Problem("", "warning", "old-true-up",
                    f"{printer.name} was trued up on {printer.trued_up.isoformat()}, more than {OLD_AFTER_DAYS} days "
                    "ago: rollers wear, and paper changes.",
                    "Print and read the test sheet again on the True-up page."),)
