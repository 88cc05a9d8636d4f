"""``cuttable serve``: the page for people and the API for programs."""

import ipaddress
from collections.abc import Sequence
from importlib import import_module
from pathlib import Path

import click

from ..catalogue.book.place import default_path
from ..catalogue.errors import InputError
from .desk import open_book, person

PORT = 8460


@click.command(
    "serve",
    epilog="""\b
Examples:
  cuttable serve --open
  cuttable serve --book postgresql://cuttable@db/limits --https
  cuttable serve --proxy-header X-Remote-User --trusted-proxy 10.0.0.5""",
)
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen at.")
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True,
              help="Port to listen at; 0 for any that is free.")  # fmt: skip
@click.option("--data", type=click.Path(path_type=Path, file_okay=False), default=None,
              metavar="FOLDER",
              help="Folder for backlogs; else one in your data folder.")  # fmt: skip
@click.option("--open", "is_open", is_flag=True,
              help="No accounts, nothing can be changed; for this machine only.")  # fmt: skip
@click.option("--https", "is_https", is_flag=True,
              help="People come over HTTPS, by a proxy: cookies are for HTTPS only.")  # fmt: skip
@click.option("--proxy-header", "header", default="", metavar="NAME",
              help="Header in which a trusted proxy names who has signed in there.")  # fmt: skip
@click.option("--trusted-proxy", "proxies", multiple=True, metavar="ADDRESS",
              help="Address or network of a proxy whose headers are believed; repeat.")  # fmt: skip
@click.option("--workers", type=click.IntRange(min=1), default=None,
              help="Processes a backlog may use; else one less than processors.")  # fmt: skip
@click.option("--rate", type=click.IntRange(min=10), default=1200, show_default=True,
              help="Requests a minute from one address.")  # fmt: skip
@click.option("--one-time-password", "lost", default="", metavar="NAME",
              help="Print a one-time password for an account, and end.")  # fmt: skip
def command(
    *,
    host: str,
    port: int,
    data: Path | None,
    is_open: bool,
    is_https: bool,
    header: str,
    proxies: Sequence[str],
    workers: int | None,
    rate: int,
    lost: str,
) -> int:
    """Serve the page for people and the API for programs, over the book that is asked.

    The first start makes an account named Administrator and prints its one-time password, once.
    The service ends when it is told to (Ctrl-C, SIGTERM), after the answers that are under way.

    Exit status: 0 ended as told, 2 could not start.
    """
    check_installed()
    _check(host, header, proxies, is_open=is_open)
    from ..service.first_run import NAME, first_administrator, one_time_password
    from ..service.logs import log_as_json
    from ..service.serving import bound, serve
    from ..service.settings import Settings

    book = open_book(is_made=True)
    try:
        if lost:
            password = one_time_password(book, person(None), lost)
            click.echo(f"One-time password of {lost}: {password}")
            return 0
        listening = bound(host, port)
        password = "" if is_open else first_administrator(book)
    finally:
        book.close()
    folder = data if data is not None else default_path().parent / "service"
    settings = Settings(
        book.place, _private(folder), is_open=is_open, is_https=is_https, header=header,
        proxies=tuple(proxies), rate=rate, workers=workers,
    )  # fmt: skip
    name = f"[{host}]" if ":" in host else host
    click.echo(f"Serving {book.place.label} at http://{name}:{listening.getsockname()[1]}/")
    if password:
        click.echo(f"The first account: {NAME}, one-time password {password}\n"
                   "It is shown this once; sign in and choose another.")  # fmt: skip
    log_as_json()
    serve(settings, listening)
    return 0


def check_installed() -> None:
    """See that what the service needs is installed.

    Raises:
        InputError: ``option-needs``.
    """
    try:
        for name in ("argon2", "fastapi", "jinja2", "prometheus_client", "pyarrow",
                     "python_multipart", "uvicorn"):  # fmt: skip
            import_module(name)
    except ImportError as fault:
        raise InputError(
            "option-needs", f"the service needs the package {fault.name}",
            remedy="Install it: pip install 'cuttable[service]'.",
        ) from None  # fmt: skip


def _check(host: str, header: str, proxies: Sequence[str], *, is_open: bool) -> None:
    for item in proxies:
        try:
            ipaddress.ip_network(item, strict=False)
        except ValueError:
            raise InputError(
                "address-unusable", f"{item[:60]!r} is no address or network",
                where="--trusted-proxy", remedy="Write it like 10.0.0.5 or 10.0.0.0/24.",
            ) from None  # fmt: skip
    if header and not proxies:
        raise InputError(
            "option-needs", "a header is believed from trusted proxies only",
            where="--proxy-header", remedy="Name them: --trusted-proxy ADDRESS.",
        )  # fmt: skip
    if is_open and (header or proxies):
        raise InputError("option-needs", "an open page has no accounts", where="--open",
                         remedy="Leave out --proxy-header and --trusted-proxy.")  # fmt: skip
    if is_open and not _is_loopback(host):
        raise InputError(
            "address-unusable", f"{host[:60]} can be reached from other machines",
            where="--open", remedy="Use --host 127.0.0.1, or accounts.",
        )  # fmt: skip


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host.casefold() == "localhost"


def _private(folder: Path) -> Path:
    """Make a folder that only its owner reads, and return it.

    Raises:
        InputError: ``output-unwritable``.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as fault:
        raise InputError(
            "output-unwritable", f"the folder cannot be made ({fault.strerror})",
            where=str(folder), remedy="Name another: --data FOLDER.",
        ) from None  # fmt: skip
    return folder.absolute()
