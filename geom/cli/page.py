"""``geom page``: the same plans in a browser, served to this machine alone unless another address is asked for."""

import contextlib
import os
import sys
import threading
import webbrowser
from collections.abc import Iterator
from ipaddress import ip_address
from pathlib import Path
from socket import socket

import click

from geom.errors import PageError
from geom.page.app import offers, page_app
from geom.page.asked import asked_of
from geom.page.guard import LOOPBACK, Door
from geom.page.plans import Plans
from geom.page.server import PORT, serve, sockets_for
from geom.page.store import Store, state_folder
from geom.page.worker import Worker

LOOK_TIME = 60.0  # for a look at the part before any plan [s]


def run(*, port: int | None, address: str | None, folder: str | None, browser: bool, quiet: bool) -> int:
    """Serve the page until it is ended; return the exit code."""
    store = Store(Path(folder) if folder else state_folder())
    try:
        sockets = _sockets(address, port)
        door = door_of(address, sockets[0].getsockname()[1])
        url = address_of(door, address)

        def ready() -> None:
            threading.Thread(target=_warmed, args=(store,), daemon=True).start()
            click.echo(url if quiet else f"geom page: {url}")
            if not quiet:
                _tell(store, door)
            if browser and has_screen():
                threading.Thread(target=_opened, args=(url,), daemon=True).start()

        with _working(store) as (plans, looks):
            serve(page_app(plans, looks, door), sockets, when_ready=ready)
    finally:
        store.close()
    return 0


@contextlib.contextmanager
def _working(store: Store) -> Iterator[tuple[Plans, Worker]]:
    """Give the solver with its queue and a second process for looks; both end with the page."""
    with Worker() as solver, Worker(seconds=LOOK_TIME, threads=1) as looks:
        plans = Plans(store, solver)
        try:
            yield plans, looks
        finally:
            plans.close()


def _sockets(address: str | None, port: int | None) -> list[socket]:
    """Return listening sockets; a usual port that is taken is no reason not to begin."""
    try:
        return sockets_for(address, PORT if port is None else port)
    except PageError as error:
        if error.slug != "page-port-taken" or port is not None:
            raise
        return sockets_for(address, 0)


def door_of(address: str | None, port: int) -> Door:
    """Return who may come in at an address; at another than this machine's own a key is asked for."""
    if address is None:
        return Door(port)
    number = ip_address(address)
    names = frozenset({*LOOPBACK, str(number)})
    return Door(port, names, is_open=not number.is_loopback, any_address=number.is_unspecified)


def address_of(door: Door, address: str | None) -> str:
    """Return the address to open, with the key where one is asked for."""
    host = LOOPBACK[0] if address is None else str(ip_address(address))
    host = f"[{host}]" if ":" in host else host
    return f"http://{host}:{door.port}/" + (f"?key={door.key}" if door.is_open else "")


def has_screen() -> bool:
    """Is there a screen for a browser? Else one that writes into the terminal might be begun."""
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def _opened(url: str) -> None:
    with contextlib.suppress(Exception):
        webbrowser.open(url)


def _warmed(store: Store) -> None:
    """Read what the first form will need."""
    with contextlib.suppress(Exception):
        asked_of(offers()["defaults"], store)


def _tell(store: Store, door: Door) -> None:
    if door.is_open:
        click.echo("whoever has this address can plan here and see all plans; give it to nobody else", err=True)
        if door.any_address:
            click.echo("from another machine: put this machine's number in the place of the zeros", err=True)
    click.echo(f"plans are kept in {_plain(store.folder)}; Ctrl-C ends the page", err=True)


def _plain(folder: Path) -> str:
    return "".join(letter if letter.isprintable() else "?" for letter in str(folder))
