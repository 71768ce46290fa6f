"""``lampfold serve`` and ``lampfold demo``: the pages, on this machine or for the local network."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from server.store import Store
    from server.web.services import Services



def register(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``serve`` and ``demo``."""
    for name, says in (("serve", "open the pages in a browser (what `lampfold` alone does)"),
                       ("demo", "serve the pages with three demo decks on the Desk")):
        parser = subparsers.add_parser(name, help=says, description=f"{says[:1].upper()}{says[1:]}.")
        add_options(parser)
        parser.set_defaults(run=run, demo=name == "demo")


def add_options(parser: argparse.ArgumentParser) -> None:
    """The options that ``serve`` and ``demo`` share."""
    parser.add_argument("--port", type=int, metavar="N",
                        help="port to listen on (default: 8437, or the next free one)")
    parser.add_argument("--lan", action="store_true", help="let others on the local network in, by a code")
    parser.add_argument("--data", type=Path, metavar="DIR",
                        help="where decks are kept (default: the user's data folder)")
    parser.add_argument("--no-browser", action="store_true", help="don't open a browser")


def run(arguments: argparse.Namespace) -> int:
    """Serve until Ctrl-C. Raises StoreTrouble where the data folder is in use, BadValue for a port that is."""
    from server.store import Store, default_folder
    from server.web.logbook import log_to, stop
    from server.web.sockets import listen

    store = Store.open((arguments.data or default_folder()).expanduser().resolve())
    try:
        sockets = listen(arguments.port, lan=arguments.lan)
    except Exception:
        store.close()
        raise
    handler = log_to(store.folder.log)
    try:
        _serve(store, sockets, arguments)
    finally:
        stop(handler)
    return 0


def _serve(store: Store, sockets: list[Any], arguments: argparse.Namespace) -> None:
    from server.web.app import LampfoldServer
    from server.web.hosts import lan_hosts, loopback_hosts
    from server.web.services import Services

    port = sockets[0].getsockname()[1]
    services = Services.over(store, lan_hosts(port) if arguments.lan else loopback_hosts(port))
    address = f"http://127.0.0.1:{port}"
    tell = _teller(services, address)
    services.people.on_token_spent = tell

    def started() -> None:
        link = tell()
        if not arguments.no_browser:
            threading.Thread(target=webbrowser.open, args=(link,), daemon=True).start()

    if getattr(arguments, "demo", False):
        asyncio.run(_load_demos(services))
    LampfoldServer(services, started=started).run_on(sockets)


def _teller(services: Services, address: str) -> Callable[[], str]:
    """Prints the host's address with a fresh token: one use each, so the next is shown when one is spent."""
    shown: list[str] = []

    def tell() -> str:
        link = f"{address}/welcome?token={services.people.new_token()}"
        if shown:
            print(f"For another browser of yours: {link}", flush=True)
        else:
            print(f"Lampfold is at {link}\nDecks are kept in {services.store.folder.root}. Ctrl-C ends it.", flush=True)
            _tell_guests(services)
        shown.append(link)
        return link

    return tell


def _tell_guests(services: Services) -> None:
    """On the LAN: the way in, by QR code and by hand, and what it lets others do."""
    if not services.hosts.lan:
        return
    import segno

    from server.web.hosts import guest_address

    address = guest_address(services.hosts)
    maker, playtester = services.door.code("maker"), services.door.code("playtester")
    print(f"""
Others on your network join at {address}/join
  makers, who see and change every deck here:            {maker}
  playtesters, who look at decks and print them:         {playtester}
The connection isn't encrypted: others on the same network could read along.
Who is in, and removing someone: the People page. The QR code below lets playtesters in.
""", flush=True)
    with contextlib.suppress(UnicodeEncodeError):  # a console that lacks block characters; the address is above
        segno.make(f"{address}/join?code={playtester}", error="l").terminal(compact=True)


async def _load_demos(services: Services) -> None:
    """Put each demo deck on the Desk that isn't there yet."""
    from server.web.desk_demos import demo_decks, load_demo

    there = {row.state.name for row in services.store.decks.all() if row.deleted is None}
    for demo in demo_decks():
        if demo.name not in there:
            print(f"Loading {demo.name} ...", flush=True)
            await load_demo(services, "host", demo)
