"""What each role may do, as people are told: what tests of rights compare the service with."""

from typing import Final

MAY: Final[dict[str, frozenset[str]]] = {
    "asker": frozenset({"ask"}),
    "engineer": frozenset({"ask", "draft"}),
    "approver": frozenset({"ask", "draft", "approve"}),
    "administrator": frozenset({"ask", "draft", "approve", "admin"}),
}
