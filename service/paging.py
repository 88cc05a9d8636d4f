"""Lists in pages, and tags by which a browser knows that nothing has changed."""

import json
from collections.abc import Mapping, Sequence
from typing import Annotated, Any, NamedTuple

from fastapi import Depends, Query, Request
from fastapi.responses import Response

from ..catalogue.files.file_source import digest_of


class PageOf(NamedTuple):
    """Which part of a list is asked for."""

    first: int
    most: int


def page_asked(
    first: Annotated[int, Query(ge=0, le=10_000_000, description="Items to leave out")] = 0,
    count: Annotated[int, Query(ge=1, le=500, description="Items to return")] = 50,
) -> PageOf:
    """Read which part of a list is asked for."""
    return PageOf(first, count)


Page = Annotated[PageOf, Depends(page_asked)]


def paged(request: Request, rows: Sequence[Any], page: PageOf, key: str = "") -> Response:
    """Return a part of a list, with how many there are and where the next part is."""
    return part_of(request, rows[page.first : page.first + page.most], page, len(rows), key)


def part_of(
    request: Request, part: Sequence[Any], page: PageOf, total: int, key: str = ""
) -> Response:
    """Return a part of a list that was read as a part."""
    content: dict[str, Any] = {"total": total, "first": page.first, "items": list(part)}
    following = page.first + page.most
    if following < total:
        url = request.url.include_query_params(first=following, count=page.most)
        content["next"] = f"{url.path}?{url.query}"
    body = json.dumps(content, ensure_ascii=False, allow_nan=False).encode()
    return tagged(request, body, "application/json", key)


def tagged(
    request: Request,
    body: bytes,
    media: str,
    key: str = "",
    headers: Mapping[str, str] | None = None,
) -> Response:
    """Return content with a tag from its digest; nothing where the asker has the same."""
    tag = f'"{digest_of(body)[7:31]}"'
    more = {"ETag": tag, "Cache-Control": "private, no-cache", **(headers or {})}
    if key:
        more["X-In-Force"] = key[7:23]
    if tag in (item.strip() for item in request.headers.get("if-none-match", "").split(",")):
        return Response(status_code=304, headers=more)
    return Response(body, media_type=media, headers=more)
