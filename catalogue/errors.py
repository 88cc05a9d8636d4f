"""One family of errors: a stable code, what is wrong, where, and the remedy.

Every message a person can cause to appear is one of the codes below. Scripts switch on the
code; people read the sentence. ``cuttable explain CODE`` prints the meaning.
"""

from collections.abc import Sequence
from typing import Any, NamedTuple

ERROR_CODES: dict[str, str] = {
    "text-empty": "A value was expected and the text is empty.",
    "text-too-long": "The text is longer than any designation, length or name can be.",
    "number-unreadable": "The text is not a finite number, fraction or mixed fraction.",
    "unit-unknown": "The unit is not one the tool knows.",
    "unit-mismatch": "The unit measures something else than what was asked for.",
    "length-unreadable": "The text cannot be read as a length.",
    "flange-unknown": "No flange of this size and class is in the table.",
    "length-range": "A length must be above zero and at most 100 m.",
    "value-range": "The number is outside what is physically possible for this input.",
    "designation-unreadable": "The text is not a way of writing a section that the tool knows.",
    "section-not-hollow": "An open or solid section was named; only pipe and tube are cut.",
    "section-unknown": "The text is readable, but no section table lists this size.",
    "section-impossible": "The wall is not smaller than half of the outside dimension.",
    "grade-unknown": "No grade of this name is in the catalogue.",
    "machine-unknown": "No machine model of this code is in the catalogue.",
    "accessory-unknown": "The machine model has no accessory of this code.",
    "choice-unknown": "The value is not one of the fixed choices.",
    "option-needs": "An option was given without another that it needs.",
    "measure-unknown": "No measure, error code or word of this name is known.",
    "rule-unknown": "No rule of this code is in the rule set.",
    "parts-unreadable": "A part or cut cannot be read.",
    "parts-and-cuts": "Parts and cut positions are both given; one follows from the other.",
    "cuts-outside": "A cut lies outside the stock or nearer than a kerf to another.",
    "stations-bad": "A support station lies off the stock, is doubled, or stands on a cut.",
    "file-missing": "The file does not exist or cannot be read.",
    "file-damaged": "The file is not valid TOML or CSV: damaged, cut off, or misspelt syntax.",
    "file-problems": "The file is readable, but keys or values in it are wrong.",
    "rule-set-empty": "No rule was loaded. An empty rule set would let everything pass.",
    "rule-set-too-large": "The rule set is beyond what the inference engine handles safely.",
    "inference-unloadable": "The library that chains the rules cannot be loaded.",
    "inference-failed": "The inference engine reported a fault; no verdict was given.",
    "backlog-empty": "The file has nothing in it.",
    "backlog-not-a-table": "The file is no table that a backlog can be read from.",
    "backlog-damaged": "The backlog is damaged and cannot be read to its end.",
    "backlog-encrypted": "The workbook is protected by a password, or of an old format.",
    "column-missing": "A column that every backlog needs is not there.",
    "column-twice": "Two headers mean the same column.",
    "row-ragged": "A row has more or fewer cells than the header.",
    "column-kind": "A column holds lists, structures or other things that nobody types.",
    "cell-not-text": "A cell holds bytes that are no text.",
    "cell-too-long": "A cell is longer than anything that is read.",
    "cell-is-date": "A spreadsheet turned a size or length into a date.",
    "output-unwritable": "The answers cannot be written where they were asked for.",
    "cluster-unreachable": "No scheduler answers, or it has no worker.",
    "cluster-differs": "A worker of the cluster has other rules than the asking program.",
    "setting-unknown": "The machine file has no such value to set.",
    "setting-unreadable": "The text does not set a value: a key, =, and a value of its kind.",
    "output-busy": "Another run is writing these answers at the moment.",
    "resume-damaged": "What was begun cannot be continued: some of its answers are lost.",
    "resume-mismatch": "What was begun cannot be continued: the backlog or the question changed.",
    "ledger-place-unknown": "A ledger is a SQLite file or a PostgreSQL database, nothing else.",
    "ledger-missing": "There is no ledger at this place.",
    "ledger-exists": "There is a ledger at this place already.",
    "ledger-older": "The ledger is of an older form; it must be brought up first.",
    "ledger-newer": "The ledger was written by a newer tool.",
    "ledger-damaged": "The ledger, or a part of it, is not as it was written; or it is none.",
    "ledger-locked": "Another program is writing in the ledger.",
    "ledger-unreachable": "The database that holds the ledger does not answer.",
    "ledger-denied": "The database does not let this user in.",
    "ledger-unwritable": "Nothing can be written in the ledger: no right, or no room.",
    "backup-damaged": "The backup is not as it was written.",
    "backup-older": "The ledger has what the backup has not, or the backup is of another ledger.",
    "output-exists": "There is a file of this name already.",
    "clock-behind": "The machine's clock is behind the last record of the ledger.",
    "person-unknown": "Nobody is named who does this.",
    "name-unusable": "The text cannot be a name in the ledger.",
    "date-unreadable": "The text is no date.",
    "revision-unknown": "The ledger has no such document or revision.",
    "revision-state": "The revision is not in the state that this step needs.",
    "own-approval": "Who had a hand in a revision cannot approve it.",
    "base-superseded": "Another revision was approved since this one was drafted.",
    "draft-unchanged": "The draft is the same as the revision before it.",
    "reason-missing": "A change needs a reason.",
    "effective-past": "A revision cannot take effect in the past.",
    "effective-overlap": "A revision must take effect after the one before it.",
    "impact-missing": "No report says which answers the revision would change.",
    "impact-stale": "The report of the impact is about another state of the revision.",
    "bundle-damaged": "The bundle is not as it was made: changed, cut off, or no bundle.",
    "bundle-untrusted": "The bundle is signed with a key that this ledger does not trust.",
    "bundle-diverged": "The bundle and the ledger tell different histories of a document.",
    "key-unusable": "The file holds no key to sign with.",
    "answer-unknown": "The ledger keeps no such answer.",
    "answer-unreadable": "The text is no answer that this version can read.",
    "answer-differs": "The answer worked out again is not the one that was kept.",
    "account-exists": "Somebody has an account of this name already.",
    "account-unknown": "Nobody has an account of this name.",
    "role-unknown": "There is no such role.",
    "last-administrator": "The last administrator cannot be closed or given another role.",
    "password-weak": "The password is too short, too long or built on the name.",
    "token-unusable": "A token cannot have these rights or this end.",
    "token-unknown": "There is no such token.",
    "sign-in-needed": "Nobody is signed in, or the session or token has ended.",
    "sign-in-wrong": "Name and password do not go together.",
    "not-allowed": "The role does not allow this.",
    "form-stale": "The form is not of this session: it was opened before signing in, or forged.",
    "too-many": "Too many requests in a short time.",
    "too-large": "The request is larger than is taken.",
    "too-slow": "The request was not sent, or not answered, in time.",
    "page-unknown": "There is no such page or resource.",
    "method-wrong": "The resource does not take this method.",
    "kind-wrong": "The content of the request is of a kind that is not taken.",
    "request-unreadable": "The request is not what the API describes.",
    "backlog-unknown": "There is no such backlog.",
    "address-unusable": "The service cannot listen at, or trust, this address.",
    "backlog-stopped": "The backlog was stopped before it was done.",
    "type-wrong": "A value is of a type that is not taken here.",
    "usage-wrong": "The command was typed in a way it cannot be run.",
    "question-open": "A question must be answered before there is an answer.",
    "internal-fault": "The tool itself failed. Please report it with the command you typed.",
}


class CuttableError(ValueError):
    """A problem that the person asking can see and remedy.

    Args:
        code: one of :data:`ERROR_CODES`.
        what: one sentence, without final full stop, saying what is wrong.
        where: file, key, row or option the problem sits in; may be empty.
        remedy: what to do about it; may be empty.
    """

    def __init__(self, code: str, what: str, *, where: str = "", remedy: str = "") -> None:
        if code not in ERROR_CODES:
            message = f"error code {code!r} is not registered"
            raise KeyError(message)
        super().__init__(code, what, where, remedy)
        self.code = code
        self.what = what
        self.where = where
        self.remedy = remedy

    def __reduce__(self) -> tuple[Any, ...]:
        return (_rebuild, (type(self), self.code, self.what, self.where, self.remedy))

    def __str__(self) -> str:
        where = f"{self.where}: " if self.where else ""
        remedy = f" {self.remedy}" if self.remedy else ""
        return f"{where}{self.what}.{remedy} [{self.code}]"


def _rebuild(
    kind: type[CuttableError], code: str, what: str, where: str, remedy: str
) -> CuttableError:
    return kind(code, what, where=where, remedy=remedy)


class InputError(CuttableError):
    """Something typed cannot be read, or no such thing is known."""


class FileError(CuttableError):
    """A machine, rule or table file is missing, damaged or wrong.

    ``problems`` lists each problem of the file as ``key: what is wrong. remedy``.
    """

    def __init__(
        self,
        code: str,
        what: str,
        *,
        where: str = "",
        remedy: str = "",
        problems: Sequence[str] = (),
    ) -> None:
        super().__init__(code, what, where=where, remedy=remedy)
        self.problems = tuple(problems)

    def __reduce__(self) -> tuple[Any, ...]:
        fields = (self.code, self.what, self.where, self.remedy, self.problems)
        return (_rebuild_file, fields)

    def __str__(self) -> str:
        head = super().__str__()
        return "\n".join([head, *(f"  - {problem}" for problem in self.problems)])


def _rebuild_file(
    code: str, what: str, where: str, remedy: str, problems: Sequence[str]
) -> FileError:
    return FileError(code, what, where=where, remedy=remedy, problems=problems)


class Question(NamedTuple):
    """What the asker must say before there can be an answer.

    Attributes:
        code: stable code of the kind of question, e.g. ``pipe-or-tube``.
        text: the question, one sentence.
        choices: answers that can be typed as they stand.
    """

    code: str
    text: str
    choices: tuple[str, ...]


class OpenQuestion(Exception):  # noqa: N818 - a question is not an error
    """Raised when the text has more than one reading, or something must be said first. Never guess.

    Args:
        code: stable code of the kind of question, e.g. ``pipe-or-tube``.
        text: the question, one sentence.
        choices: answers that can be typed as they stand.
        others: questions that are open besides this one.

    Attributes:
        question: code, text and choices together.
        questions: this one and the others.
    """

    def __init__(
        self, code: str, text: str, choices: Sequence[str], others: Sequence[Question] = ()
    ) -> None:
        super().__init__(code, text, tuple(choices), *([tuple(others)] if others else []))
        self.question = Question(code, text, tuple(choices))
        self.questions = (self.question, *others)

    @property
    def code(self) -> str:
        """Stable code of the kind of question."""
        return self.question.code

    @property
    def text(self) -> str:
        """The question, one sentence."""
        return self.question.text

    @property
    def choices(self) -> tuple[str, ...]:
        """Answers that can be typed as they stand."""
        return self.question.choices

    def __reduce__(self) -> tuple[Any, ...]:
        return (OpenQuestion, (*self.question, self.questions[1:]))

    def __str__(self) -> str:
        return f"{self.question.text} {' | '.join(self.question.choices)}"
