"""The tool as an object: loaded once, asked many times, from any thread."""

import threading
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self, Unpack, overload

from ...catalogue.ledger.location import location_of
from ..answer.document import Answer
from ..answer.wording import system_of
from .options import Options, job_text, names_of, raise_open
from .standing import Standing

if TYPE_CHECKING:
    import pandas as pd

    from ..answer.wording import System


class Assessor:
    """Answers of one ledger, or of the limits the tool brings.

    Any number of threads may ask one assessor; they are answered one after the other, because
    the library that chains the rules judges one job at a time. Threads that are not to wait for
    each other have an assessor each, at some 20 ms and 4 MB. After a fork the child needs one of
    its own. A revision that takes effect in the ledger counts from about a second later on.

    Args:
        ledger: the path of a file, ``postgresql://user@host/database``, or ``none`` for the
            limits the tool brings. Without it the ledger that the command line would ask: the one
            of the environment, else your own if there is one.

    Raises:
        InputError: ``ledger-place-unknown`` where that is no ledger; whether there is one there is
            found when it is first asked.

    Examples:
        >>> with Assessor(ledger="none") as assessor:
        ...     answer = assessor.check("NPS 10 XS", "12 m", machine="alder-320")
        >>> answer.verdict.value
        'oversize-allowed-with-conditions'
        >>> f"{answer.measures['rotary_inertia'].utilisation:.0%}"
        '127%'
    """

    def __init__(self, *, ledger: str | Path | None = None) -> None:
        if ledger is not None:
            location_of(str(ledger))
        self._ledger = ledger
        self._lock = threading.RLock()
        self._standing = Standing(ledger)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:  # fmt: skip
        self.close()

    def __reduce__(self) -> tuple[Any, ...]:
        return (_anew, (self._ledger,))

    def __repr__(self) -> str:
        with self._lock:
            place = self._standing.place
        return f"<Assessor of {place.label if place else 'the limits the tool brings'}>"

    def close(self) -> None:
        """Let go of the ledger; a further question opens it again."""
        with self._lock:
            self._standing.close()

    @overload
    def check(
        self, section: str, length: str, *, machine: str | Path, machines: None = None,
        **options: Unpack[Options],
    ) -> Answer: ...  # fmt: skip
    @overload
    def check(
        self, section: str, length: str, *, machine: None = None,
        machines: Sequence[str | Path] | None = None, **options: Unpack[Options],
    ) -> list[Answer]: ...  # fmt: skip
    def check(
        self,
        section: str,
        length: str,
        *,
        machine: str | Path | None = None,
        machines: Sequence[str | Path] | None = None,
        **options: Unpack[Options],
    ) -> Answer | list[Answer]:
        """Say whether a machine can cut a piece of stock, and how it must be set up.

        Args:
            section: as the trade writes it, ``"NPS 10 XS"``, ``"SHS 100x5 cf"``.
            length: with its unit, ``"12 m"``, ``"20 ft"``.
            machine: one model by its code, ``model@site``, or the path of a ``.toml`` file: its
                answer is returned.
            machines: several models; without either every model. The answers are returned as a
                list, best first.
            **options: what else is known of the job, see :class:`.options.Options`.

        Raises:
            OpenQuestion: something must be said first; its ``choices`` are the answers.
            InputError: something cannot be read, or is not known.
            FileError: a machine file or the ledger is missing, damaged or wrong.
            TypeError: there is no such option.
        """
        said: dict[str, Any] = dict(options)
        units: System | None = said.pop("units", None)
        text, names = job_text(section, length, said), names_of(machine, machines)
        with self._lock:
            reply = self._standing.assessor().ask(
                text, names, system=units or system_of(text.length)
            )
        raise_open(reply.questions)
        return reply.verdicts[0] if machine is not None else list(reply.verdicts)

    def check_frame(
        self,
        frame: "pd.DataFrame",
        machines: Sequence[str | Path] | str | Path | None = None,
        *,
        machine: str | Path | None = None,
        best: bool = False,
        numbers: bool = False,
        chance: bool = False,
    ) -> "pd.DataFrame":
        """Answer every row of a table, as ``cuttable batch`` answers a file.

        Args:
            frame: one job a row. Columns are found by the names people use for them (``size``,
                ``len``, ``mat`` …), and a unit in a header, ``length (mm)``, goes to the bare
                numbers below it; ``section`` and ``length`` must be there.
            machines: models that rows without a machine of their own are asked on; else all.
            machine: one such model, as in :meth:`check`.
            best: only the best answer of each job.
            numbers: a column for every number of every mitigation too.
            chance: columns ``chance_…`` too: how likely the mill ships stock over a limit.

        Returns:
            One row a job and model, in the order of the jobs. The columns and the index of
            ``frame`` are kept as they are; those of the answer follow, and one whose name is
            taken already ends in ``_answer``. ``error`` and ``error_text`` are filled where a row
            has no answer, and say why. Lengths in mm, masses in kg, inertias in kg·m².

        Raises:
            InputError: ``machine-unknown``; ``type-wrong`` where ``frame`` is no table.
            FileError: ``column-missing`` or ``column-twice``; the ledger cannot be read.
        """
        from .frames import answered

        names = names_of(machine, machines)
        with self._lock:
            return answered(
                self._standing.assessor(), frame, names, is_best=best, has_numbers=numbers,
                has_chance=chance,
            )  # fmt: skip

    def sections(self, text: str = "") -> "pd.DataFrame":
        """Return the sections of every table, or those that have every word of ``text``.

        Sizes in mm as computed with, mass in kg/m for 7850 kg/m³.
        """
        from .tables import section_table

        with self._lock:
            return section_table(self._standing.assessor(), text)

    def machines(self) -> "pd.DataFrame":
        """Return the limits of every model: one row a model and limit, in canonical units."""
        from .tables import machine_table

        with self._lock:
            return machine_table(self._standing.assessor())

    def lengths(
        self,
        section: str,
        machines: Sequence[str | Path] | str | Path | None = None,
        *,
        machine: str | Path | None = None,
        **options: Unpack[Options],
    ) -> "pd.DataFrame":
        """Return for which lengths a section is in range, allowed, refused, and what decides.

        Args:
            section: as the trade writes it.
            machines: models; else all.
            machine: one model, as in :meth:`check`.
            **options: what else is known of the stock; parts, cuts and stations belong to one
                length and are left out.

        Returns:
            One row a model and interval, shortest first; ``shortest`` and ``longest`` in mm.

        Raises:
            OpenQuestion: something must be said first.
            InputError: something cannot be read, or is not known.
        """
        from .tables import length_table

        said: dict[str, Any] = dict(options)
        units: System = said.pop("units", None) or "si"
        text, names = job_text(section, "1 m", said), names_of(machine, machines)
        with self._lock:
            return length_table(self._standing.assessor(), text, names, units)


def _anew(ledger: str | Path | None) -> Assessor:
    return Assessor(ledger=ledger)
