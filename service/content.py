"""What routes answer, for the description of the API and for those who write them.

An answer is a table with keys that are known: :class:`Content` says which, to the type checker and
to the description alike. It is sent as it is made, through ``json.dumps``; the library does not
write it anew.
"""

from typing import (
    Annotated,
    Any,
    Final,
    Generic,
    NotRequired,  # Python 3.11's is not enough for pydantic
    TypeVar,
    cast,
)

from pydantic import ConfigDict, WithJsonSchema, with_config
from typing_extensions import TypedDict

Responses = dict[int | str, dict[str, Any]]
T = TypeVar("T")

ANSWER_REF: Final = {"$ref": "#/components/schemas/Reply"}
"""What ``check --json`` prints, among the schemas of the description."""
QUESTION_REF: Final = {"$ref": "#/components/schemas/Question"}
ANSWER: Final[Responses] = {
    200: {"content": {"application/json": {"schema": ANSWER_REF}},
          "description": "The answer, as `check --json` prints it"},
}  # fmt: skip
"""What a route answers that sends an answer as it is."""


@with_config(ConfigDict(extra="forbid", use_attribute_docstrings=True))
class Content(TypedDict):
    """A table with these keys and no others; the sentence below a key is its description."""


class ListOf(Content, Generic[T]):
    """A part of a list."""

    total: int
    """Items of the whole list."""
    first: int
    """Items left out."""
    items: list[T]
    next: NotRequired[str]
    """Where the next part is; not there in the last."""


GivenAnswer = Annotated[dict[str, Any], WithJsonSchema({"allOf": [ANSWER_REF]})]
"""An answer as ``check --json`` prints it."""
ETAG: Final = {"ETag": {"description": "Tag of this content", "schema": {"type": "string"}}}


def sends(kind: Any, status: int = 200, what: str = "What was asked for") -> Responses:
    """Return the description of a route that answers with one table."""
    return {status: {"model": kind, "description": what}}


def lists(kind: Any) -> Responses:
    """Return the description of a route that answers with a part of a list, with a tag."""
    return {
        200: {"model": cast("Any", ListOf)[kind], "description": "A part of the list",
              "headers": ETAG},
        304: {"description": "The same as what `If-None-Match` names"},
    }  # fmt: skip
