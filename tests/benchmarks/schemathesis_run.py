"""The API against requests made from its description, over real connections, thousands of them.

``python tests/benchmarks/schemathesis_run.py`` starts a service over a ledger of its own and prints
what was found; ``--cases`` sets about how many requests are made. Exit status 0: nothing found.
"""

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "unit" / "service"))

# What a section or length may be is no matter of types: good requests by type may be refused.
LEFT_OUT = "positive_data_acceptance"
# Too much to be read is refused before it is read.
CONFIG = """
[checks]
negative_data_rejection.expected-statuses = ["400", "401", "403", "404", "409", "413", "415", "422"]
"""


def main() -> int:
    """Start a service, send requests, and return the exit status."""
    from cuttable.catalogue.ledger.location import Location
    from cuttable.service.settings import Settings
    from service_workshop import PEOPLE, made_template, server_over

    options = argparse.ArgumentParser()
    options.add_argument("--cases", type=int, default=5000)
    options.add_argument("--seed", type=int, default=1)
    asked = options.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        template = made_template(Path(folder))
        settings = Settings(
            Location("sqlite", str(template.path)), Path(folder) / "data", rate=100_000_000
        )
        (Path(folder) / "schemathesis.toml").write_text(CONFIG, encoding="utf-8")
        with server_over(settings) as port:
            root = f"http://127.0.0.1:{port}"
            words = [
                sys.executable, "-m", "schemathesis.cli", "run", f"{root}/api/v1/openapi.json",
                "-H", f"Authorization: Bearer {template.tokens[PEOPLE['Adm']]}",
                "--checks", "all", "--exclude-checks", LEFT_OUT, "--continue-on-failure",
                "--phases", "examples,coverage,fuzzing", "--max-examples",
                str(max(asked.cases // 43, 1)), "--seed", str(asked.seed),
                "--suppress-health-check", "all", "--request-timeout", "60",
                # Who asks is closed out of its own account by some of the requests.
                "--exclude-path-regex", "/people/",
            ]  # fmt: skip
            return subprocess.run(words, check=False, cwd=folder, env=dict(os.environ)).returncode


if __name__ == "__main__":
    sys.exit(main())
