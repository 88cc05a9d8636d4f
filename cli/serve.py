"""``cuttable serve``: the page for people and the API for programs."""

import ipaddress
from collections.abc import Sequence
from importlib import import_module
from pathlib import Path
from typing import Annotated

import typer

from ..catalogue.errors import InputError
from ..catalogue.ledger.location import default_path
from .apps import new_app
from .context import open_ledger, person
from .options import command

PORT = 8460


app = new_app()


@command(
    app,
    "serve",
    epilog="""\b
Examples:
  cuttable serve --open
  cuttable serve --ledger postgresql://cuttable@db/limits --https
  cuttable serve --proxy-header X-Remote-User --trusted-proxy 10.0.0.5""",
)
def serve_all(
    *,
    host: Annotated[
        str, typer.Option("--host", metavar="ADDRESS", help="Address to listen at.")
    ] = "127.0.0.1",
    port: Annotated[
        int,
        typer.Option("--port", metavar="N", min=0, max=65535,
                     help="Port to listen at; 0 for any that is free."),
    ] = PORT,
    data: Annotated[
        Path | None,
        typer.Option("--data", metavar="FOLDER", file_okay=False,
                     help="Folder for backlogs; else one in your data folder."),
    ] = None,
    is_open: Annotated[
        bool,
        typer.Option("--open",
                     help="No accounts, nothing can be changed; for this machine only."),
    ] = False,
    is_https: Annotated[
        bool,
        typer.Option("--https",
                     help="People come over HTTPS, by a proxy: cookies are for HTTPS only."),
    ] = False,
    header: Annotated[
        str,
        typer.Option("--proxy-header", metavar="NAME",
                     help="Header in which a trusted proxy names who has signed in there."),
    ] = "",
    proxies: Annotated[
        list[str],
        typer.Option("--trusted-proxy", metavar="ADDRESS", default_factory=list,
                     show_default=False,
                     help="Address or network of a proxy whose headers are believed; repeat."),
    ],
    workers: Annotated[
        int | None,
        typer.Option("--workers", metavar="N", min=1,
                     help="Processes a backlog may use; else one less than processors."),
    ] = None,
    rate: Annotated[
        int,
        typer.Option("--rate", metavar="N", min=10, help="Requests a minute from one address."),
    ] = 1200,
    lost: Annotated[
        str,
        typer.Option("--one-time-password", metavar="NAME",
                     help="Print a one-time password for an account, and end."),
    ] = "",
) -> int:  # fmt: skip
    """Serve the page for people and the API for programs.

    They answer by the ledger that is asked. The first start makes an account named Administrator
    and prints its one-time password, once. The service ends when it is told to (Ctrl-C, SIGTERM),
    after the answers that are under way.

    Exit status: 0 ended as told, 2 could not start.
    """
    check_installed()
    _check(host, header, proxies, is_open=is_open)
    from ..service.auth.first_run import NAME, first_administrator, one_time_password
    from ..service.logs import log_as_json
    from ..service.serving import bound, serve
    from ..service.settings import Settings

    ledger = open_ledger(is_made=True)
    try:
        if lost:
            password = one_time_password(ledger, person(None), lost)
            typer.echo(f"One-time password of {lost}: {password}")
            return 0
        listening = bound(host, port)
        password = "" if is_open else first_administrator(ledger)
    finally:
        ledger.close()
    folder = data if data is not None else default_path().parent / "service"
    settings = Settings(
        ledger.place, _private(folder), is_open=is_open, is_https=is_https, header=header,
        proxies=tuple(proxies), rate=rate, workers=workers,
    )  # fmt: skip
    name = f"[{host}]" if ":" in host else host
    typer.echo(f"Serving {ledger.place.label} at http://{name}:{listening.getsockname()[1]}/")
    if password:
        typer.echo(f"The first account: {NAME}, one-time password {password}\n"
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
