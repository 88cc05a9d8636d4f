"""What would make a job fit, in sentences for the terminal and the sheet."""

from .verdict import VERDICTS, Verdict
from .wording import System, show_at_most

_MODELS = {"in_range": "in range", "allowed": "allowed with conditions"}


def fit_sentences(verdict: Verdict, system: System) -> list[str]:
    """Return what was found by search; empty where nothing was searched for."""
    fit, job = verdict.fit, verdict.job
    if not fit:
        return []
    in_range, allowed = fit.get("longest_in_range"), fit.get("longest_allowed")
    apart = ", parts and stations aside" if job.parts or job.cuts or job.stations else ""
    if allowed is None:
        found = [f"No length of this section is allowed on this model as fitted{apart}."]
    else:
        within = "at no length" if in_range is None else f"up to {show_at_most(in_range, system)}"
        found = [
            f"This section on this model{apart}: in range {within}, "
            f"allowed with conditions up to {show_at_most(allowed, system)}."
        ]
    if verdict.verdict == VERDICTS["setting"]:
        return found
    for key, words in _MODELS.items():
        model = fit.get(f"smallest_model_{key}") or "none in the catalogue"
        found.append(f"Smallest model that has this job {words}: {model}.")
    fitted = fit.get("accessories")
    if fitted:
        found.append(
            f"With {' and '.join(fitted)} fitted it is allowed: --fitted "
            f"{' --fitted '.join(fitted)}"
        )
    return found
