"""Suggestions for misspelt names: those of the standard library, however many names are known."""

import difflib

from cuttable.catalogue.nearest import FEW, did_you_mean, nearest
from hypothesis import given, settings
from hypothesis import strategies as st

names = st.text(alphabet="abc SCH4/0-é\U0001f600", min_size=1, max_size=12)


@settings(max_examples=300, deadline=None)
@given(
    name=names,
    known=st.lists(names, min_size=FEW - 5, max_size=FEW + 60, unique=True),
    count=st.integers(1, 4),
    cutoff=st.sampled_from([0.3, 0.5, 0.6, 0.65, 1.0]),
)
def test_counting_letters_first_leaves_no_close_name_out(
    name: str, known: list[str], count: int, cutoff: float
) -> None:
    """What is found is what comparing with every name finds, in the same order."""
    by_form = {item.casefold(): item for item in known}
    close = difflib.get_close_matches(name.casefold(), by_form, n=count, cutoff=cutoff)
    assert nearest(name, known, count, cutoff=cutoff) == [by_form[item] for item in close]


def test_what_is_suggested() -> None:
    """Closest first, as it is written where it is known; otherwise what was said instead."""
    many = [f"size-{number}" for number in range(FEW)] + ["Galvanised", "painted"]
    assert nearest("galvanized", many) == ["Galvanised"]
    assert did_you_mean("galvanized", many) == "Did you mean 'Galvanised'?"
    assert did_you_mean("zzz", many, otherwise="None.") == "None."
    assert nearest("x", []) == []
