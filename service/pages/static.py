"""The style sheet and the scripts: a closed set of files, named with their digest."""

from functools import cache
from pathlib import Path
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import Response

from ...catalogue.errors import InputError
from ...catalogue.files.file_source import digest_of

FOLDER: Final = Path(__file__).parent / "static"
KINDS: Final = {
    ".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}  # fmt: skip

router = APIRouter()


@cache
def _files() -> dict[str, tuple[bytes, str]]:
    """Return every file with its digest; nothing else can be asked for."""
    found = {path.name: path.read_bytes() for path in FOLDER.iterdir() if path.suffix in KINDS}
    return {name: (content, digest_of(content)[7:23]) for name, content in found.items()}


def address(name: str) -> str:
    """Return where a file is: the address changes when the file does."""
    return f"/static/{name}?v={_files()[name][1]}"


@router.get("/static/{name}")
async def static(request: Request, name: str) -> Response:
    """Return a file; a browser may keep it as long as its address stays."""
    found = _files().get(name)
    if found is None:
        raise InputError("page-unknown", "there is no such page")
    content, digest = found
    is_exact = request.query_params.get("v") == digest
    keep = "public, max-age=31536000, immutable" if is_exact else "no-cache"
    headers = {"ETag": f'"{digest}"', "Cache-Control": keep}
    if f'"{digest}"' in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    return Response(content, media_type=KINDS[Path(name).suffix], headers=headers)
