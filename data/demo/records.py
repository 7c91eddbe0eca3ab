"""The demo's side records: soil cores, and last year's treatments."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from data.demo.beetles import TREATED, DemoOptions
from data.demo.layout import DemoLayout
from data.demo.rounds import planned_catch

CORE_ZONES, CORE_ZONES_2026 = 20, 5
CORED_ON = {2025: date(2025, 6, 11), 2026: date(2026, 5, 28)}
CATCH_SPAN = {
    2025: (date(2025, 4, 1), date(2025, 5, 28)),
    2026: (date(2026, 4, 1), date(2026, 5, 14)),
}
CORES, DIAMETER_IN = 10, 4.25
LARVAE_PER_CATCH = 0.25
PUPA_SHARE = 0.1


def cores(layout: DemoLayout, options: DemoOptions) -> pd.DataFrame:
    """Return the soil cores of both years: larvae follow the adults caught two weeks before."""
    rng = np.random.Generator(np.random.PCG64([options.seed, 4]))
    parts = [_cored(layout, options, year, rng) for year in CORED_ON]
    return pd.concat(parts, ignore_index=True)


def _cored(
    layout: DemoLayout, options: DemoOptions, year: int, rng: np.random.Generator
) -> pd.DataFrame:
    caught = zone_catch(layout, options, year)
    order = rng.permutation(len(caught))[: CORE_ZONES if year == 2025 else CORE_ZONES_2026]
    chosen = caught.iloc[np.sort(order)]
    grubs = rng.poisson(LARVAE_PER_CATCH * chosen.to_numpy())
    pupae = rng.binomial(grubs, PUPA_SHARE)
    positions = np.array(["edge", "middle", "worst spot"])[rng.integers(0, 3, len(chosen))]
    return pd.DataFrame(
        {
            "zone_id": chosen.index,
            "sampled_on": CORED_ON[year].isoformat(),
            "cores": CORES,
            "diameter": DIAMETER_IN,
            "diameter_unit": "in",
            "larvae": grubs - pupae,
            "pupae": pupae,
            "position": positions,
        }
    )


def zone_catch(layout: DemoLayout, options: DemoOptions, year: int) -> pd.Series[float]:
    """Return the adults that a zone's average cup was expected to catch before the cores."""
    expected = planned_catch(layout, options, *CATCH_SPAN[year])
    table = pd.DataFrame(
        {
            "zone_id": [trap.zone_id for trap in layout.traps],
            "design": [trap.design for trap in layout.traps],
            "expected": expected,
        }
    )
    cups = table[table["design"] == "cup"]
    return cups.groupby("zone_id")["expected"].mean()


def treatments() -> pd.DataFrame:
    """Return last year's treatments of adults; no product, rate or buffer is ever named."""
    rows = [
        (zone_id, day.isoformat(), "adult", group, "whole zone", "invented record")
        for zone_id, (day, group) in TREATED.items()
    ]
    columns = ["zone_id", "applied_on", "tactic", "irac_group", "area", "note"]
    table = pd.DataFrame(rows, columns=columns)
    return table.sort_values(["applied_on", "zone_id"], ignore_index=True)
