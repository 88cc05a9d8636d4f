"""What a run over a backlog came to: answers counted by verdict, by what decides, by what to do."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from ..jobs.job_table import Index


@dataclass
class Tally:
    """What a run came to.

    Attributes:
        jobs, faulty: rows read, and those of them with an error or an open question.
        verdicts: answer rows by verdict; ``best`` jobs by their best verdict.
        decided_by, governing, mitigations, wanting, errors: answer rows by each; mitigations of
            those not refused; wanting counts refusals for nothing but the accessory.
        missing: refused answers by accessory they lack.
        refused_by, refused_alone: refused answers by each thing that refuses them, and by the
            one that does where there is only one.
        taken: rows by what was taken for granted in them.
    """

    jobs: int = 0
    faulty: int = 0
    verdicts: dict[str, int] = field(default_factory=dict[str, int])
    best: dict[str, int] = field(default_factory=dict[str, int])
    decided_by: dict[str, int] = field(default_factory=dict[str, int])
    governing: dict[str, int] = field(default_factory=dict[str, int])
    mitigations: dict[str, int] = field(default_factory=dict[str, int])
    wanting: dict[str, int] = field(default_factory=dict[str, int])
    missing: dict[str, int] = field(default_factory=dict[str, int])
    refused_by: dict[str, int] = field(default_factory=dict[str, int])
    refused_alone: dict[str, int] = field(default_factory=dict[str, int])
    errors: dict[str, int] = field(default_factory=dict[str, int])
    taken: dict[str, int] = field(default_factory=dict[str, int])

    def add(self, name: str, texts: Sequence[str], code: Index, *, is_list: bool = False) -> None:
        """Count the texts of a column; of a list column each of its items."""
        counts = np.bincount(code[code >= 0], minlength=len(texts)).tolist()
        into: dict[str, int] = getattr(self, name)
        for text, count in zip(texts, counts, strict=False):
            for item in text.split("; ") if is_list else [text]:
                if count and item:
                    into[item] = into.get(item, 0) + count
