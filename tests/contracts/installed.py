"""Run by hand, and by CI on every Python: what is installed is whole, away from the tree."""

import importlib.metadata
import importlib.resources
import sys
import sysconfig
from pathlib import Path

import cuttable
import pandas as pd

site = Path(sysconfig.get_paths()["purelib"])
assert Path(cuttable.__file__).parent == site / "cuttable", "the tree was imported, not the wheel"
for name in ("cli", "engine", "rules", "catalogue", "service", "tests"):
    assert not (site / name).exists(), f"{name} landed at the top of site-packages"
assert (importlib.resources.files("cuttable") / "py.typed").is_file()
assert importlib.metadata.version("cuttable") == cuttable.__version__
answer = cuttable.check("NPS 10 XS", "12 m", machine="alder-320")
assert answer.verdict is cuttable.Verdict.CONDITIONS
assert answer.decided_by == "INER-01"
orders = pd.DataFrame({"size": ["NPS 4 SCH 40", "4 in pipe"], "length (mm)": [6000, 6000]})
found = cuttable.check_frame(orders, machines=["rowan-150"])
assert list(found["verdict"].fillna("")) == ["in-range", ""]
assert list(found["error"].fillna("")) == ["", "which-wall"]
version = sys.version.split(maxsplit=1)[0]
sys.stdout.write(f"Python {version}: import, check and check_frame answer as they should\n")
