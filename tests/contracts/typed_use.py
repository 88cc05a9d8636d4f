"""What a type checker sees of ``import cuttable``; read by it in CI, and run by nobody."""

from typing import assert_type

import cuttable
import pandas as pd

assert_type(cuttable.check("NPS 4 SCH 40", "6 m", machine="rowan-150"), cuttable.Answer)
assert_type(cuttable.check("NPS 4 SCH 40", "6 m", parts=["1 m*2"]), list[cuttable.Answer])
assert_type(cuttable.check("NPS 4 SCH 40", "6 m", machines=["rowan-150"]), list[cuttable.Answer])
answer = cuttable.check("NPS 4 SCH 40", "6 m", machine="rowan-150", grade="A106 B", units="si")
assert_type(answer.verdict, cuttable.Verdict | None)
assert_type(answer.measures["stock_mass"].utilisation, float | None)
assert_type(answer.to_do, tuple[str, ...])
orders = pd.DataFrame({"section": ["NPS 4 SCH 40"], "length": ["6 m"]})
assert_type(cuttable.check_frame(orders, machines=["rowan-150"]), pd.DataFrame)
assert_type(cuttable.sections("SHS 100"), pd.DataFrame)
assert_type(cuttable.machines(), pd.DataFrame)
assert_type(cuttable.lengths("NPS 10 XS", "alder-320", grade="A106 B"), pd.DataFrame)
with cuttable.Assessor(ledger="none") as assessor:
    assert_type(assessor, cuttable.Assessor)
    assert_type(assessor.check("NPS 4 SCH 40", "6 m"), list[cuttable.Answer])
try:
    cuttable.check("NPS 4 SCH 40", "6")
except cuttable.OpenQuestion as asked:
    assert_type(asked.choices, tuple[str, ...])
except cuttable.CuttableError as fault:
    assert_type(fault.code, str)
assert_type(cuttable.__version__, str)
