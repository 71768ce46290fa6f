"""A kept deck made ready for an answer: its revision, its printer, and the limits of the host, each looked up once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from server.core.registration.printer import Printer
from server.core.registration.printer_file import printer_from_json
from server.core.settings import DeckSettings
from server.errors import BadValue, NotThere
from server.formats.limits import ArtLimits
from server.prepress import Prepared, prepare
from server.store import Store
from server.web.access import check_changes
from server.web.people import Session
from server.web.services import Services


def prepared_deck(services: Services, person: Session, deck_id: str, changes: Mapping[str, Any]) -> Prepared:
    """A kept deck laid out, ``changes`` put over its settings. Nothing is decoded.

    Raises NotThere, BadValue, TooMuch, DoesNotFit, and Refused where it isn't for this person to change them.
    """
    check_changes(person, changes)
    view = services.views.view(services.store.decks.get(deck_id))
    if view.deck.count == 0:
        raise BadValue("deck: there is no card to print yet.", "Add fronts on the Art page.")
    settings = view.row.state.settings.changed(changes)
    return prepare(view.deck, settings, None, chosen_printer(services.store, settings), art_limits(services.store))


def art_limits(store: Store) -> ArtLimits:
    """What the host's limits say of art."""
    limits = store.limits
    return ArtLimits(limits.image_pixels, limits.pdf_pages, limits.file_bytes, limits.deck_cards)


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
