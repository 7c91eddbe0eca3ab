"""Moran's I, Gi, Gi* and local Moran against R's spdep, esda and published cases."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
from libpysal import examples
from libpysal.graph import read_gal
from numpy.testing import assert_allclose
from reference.tables import Network, network, table

from spatial.autocorrelation import getis_ord, local_moran, morans_i, row_standardised

STATISTIC = 1e-9
"""Relative tolerance of statistics and z between programs."""

SPDEP = {
    # R spdep 1.2-7: moran.test(x, nb2listw(nb, style = "W")), randomisation; I and z.
    "columbus": (0.500188557183, 5.58938267504),
    "sids2": (0.24772517169, 3.9428471515),
    "fir": (0.0624766988646, 1.08628253685),
    "orchardsprays": (0.00128200228833, 0.253706167405),
}
LIBPYSAL = {"columbus": ("columbus.shp", "columbus.gal"), "sids2": ("sids2.shp", "sids2.gal")}


def installed(name: str) -> tuple[np.ndarray, np.ndarray]:
    """Return values and adjacency from the data sets that are installed with libpysal."""
    shapes, gal = (examples.get_path(part) for part in LIBPYSAL[name])
    frame = gpd.read_file(shapes)
    values = frame["CRIME"] if name == "columbus" else 1000 * frame["SID74"] / frame["BIR74"]
    return values.to_numpy(dtype=float), read_gal(gal).sparse.toarray() > 0


@pytest.mark.parametrize("name", LIBPYSAL)
def test_reference_files_and_installed_data_are_the_same_data(name: str) -> None:
    values, adjacency = installed(name)
    stored = network(name)
    assert_allclose(values, stored.values, rtol=1e-12)
    assert (adjacency == stored.adjacency).all()


@pytest.mark.parametrize("name", SPDEP)
def test_global_moran_equals_spdep(name: str) -> None:
    """Source: R spdep 1.2-7 `moran.test`; the digits given there are 12."""
    stored = network(name)
    found = morans_i(stored.values, row_standardised(stored.adjacency))
    assert_allclose([found.i, found.z], SPDEP[name], rtol=STATISTIC)
    assert found.expected == -1 / (len(stored.values) - 1)


@pytest.mark.parametrize("name", SPDEP)
def test_gi_and_gi_star_equal_spdep_at_every_site(name: str) -> None:
    """Source: R spdep 1.2-7 `localG`, binary weights, without and with the site itself."""
    stored = network(name)
    near = stored.adjacency
    assert_allclose(getis_ord(stored.values, near), stored.local["Gistar"], rtol=STATISTIC)
    assert_allclose(getis_ord(stored.values, near, star=False), stored.local["Gi"], rtol=STATISTIC)


@pytest.mark.parametrize("name", SPDEP)
def test_local_moran_equals_spdep_with_both_variances(name: str) -> None:
    """Source: R spdep 1.2-7 `localmoran`, mlvar = FALSE (n - 1) and TRUE (n)."""
    stored = network(name)
    ours, n = local_moran(stored.values, stored.adjacency), len(stored.values)
    assert_allclose(ours, stored.local["Ii_nm1"], rtol=STATISTIC, atol=1e-13)
    assert_allclose(ours * n / (n - 1), stored.local["Ii_n"], rtol=STATISTIC, atol=1e-13)


@pytest.mark.parametrize("name", LIBPYSAL)
@pytest.mark.filterwarnings("ignore")
def test_local_statistics_equal_esda(name: str) -> None:
    """Source: esda 2.9 `G_Local` with transform "B" ("R" is wrong there) and `Moran_Local`.

    Warnings of esda about its own future do not concern us.
    """
    from esda import G_Local, Moran_Local  # noqa: PLC0415 - warns when imported

    values, adjacency = installed(name)
    star = G_Local(values, _weights(adjacency), transform="B", permutations=0, star=True)
    plain = G_Local(values, _weights(adjacency), transform="B", permutations=0, star=False)
    moran = Moran_Local(values, _weights(adjacency), transformation="r", permutations=0)
    assert_allclose(getis_ord(values, adjacency), star.Zs, rtol=STATISTIC)
    assert_allclose(getis_ord(values, adjacency, star=False), plain.Zs, rtol=STATISTIC)
    assert_allclose(local_moran(values, adjacency), moran.Is, rtol=STATISTIC, atol=1e-13)


def _weights(adjacency: np.ndarray) -> object:
    """Return a new libpysal W: esda changes the one it is given."""
    from libpysal.weights import W  # noqa: PLC0415 - slow to import

    return W({i: np.flatnonzero(row).tolist() for i, row in enumerate(adjacency)})


@pytest.mark.parametrize(
    ("star", "expected"),
    [
        (
            False,
            [
                -1.01367289855, -0.0436158942017, 1.31558702896,
                -0.314126758205, 1.15373985811, 1.77833940862,
            ],
        ),
        (
            True,
            [
                -1.39727626201, -0.289177615627, 0.650649635161,
                -0.289177615627, 1.23452088352, 2.02424330939,
            ],
        ),
    ],
)  # fmt: skip
def test_six_points_within_a_distance(star: bool, expected: list[float]) -> None:
    """Source: the six points of esda's documentation, recomputed with R spdep 1.2-7."""
    places = np.array([(10, 10), (20, 10), (40, 10), (15, 20), (30, 20), (30, 30)], dtype=float)
    between = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    near = (between <= 15) & (between > 0)
    assert_allclose(getis_ord([2, 3, 3.2, 5, 8, 7], near, star=star), expected, rtol=STATISTIC)


def getisord(band: float) -> Network:
    """Return the 16 x 16 grid of Getis & Ord (1996) with neighbours within a distance."""
    local = table("getisord_d30_local")
    places = local[["x", "y"]].to_numpy(dtype=float)
    between = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    return Network(local["v"].to_numpy(dtype=float), (between <= band) & (between > 0), local)


@pytest.mark.parametrize(
    ("band", "k", "gi", "gi_star", "printed_form"),
    [
        (30, 4, 1.221979, 1.450780, 1.447943),
        (60, 12, 1.748098, 1.900559, 1.896843),
        (90, 28, 1.986135, 2.096939, 2.092839),
        (120, 48, 1.893374, 1.981907, 1.978032),
        (150, 80, 1.237454, 1.306698, 1.304144),
    ],
)
def test_remote_sensing_grid(
    band: float, k: int, gi: float, gi_star: float, printed_form: float
) -> None:
    """Source: Getis & Ord 1996, pp. 261-277 (data spData getisord), focal cell 120, by R spdep.

    The form printed on p. 267 takes the variance over n - 1: smaller by sqrt((n - 1) / n).
    """
    grid, focal = getisord(band), 119
    star = getis_ord(grid.values, grid.adjacency)[focal]
    assert grid.adjacency[focal].sum() == k
    assert_allclose(getis_ord(grid.values, grid.adjacency, star=False)[focal], gi, atol=6e-7)
    assert_allclose(star, gi_star, atol=6e-7)
    assert_allclose(star * np.sqrt(255 / 256), printed_form, atol=6e-7)


def test_remote_sensing_grid_at_every_cell_and_as_a_whole() -> None:
    """Source: R spdep 1.2-7 on spData getisord, neighbours within 30 (`localG`, `localmoran`).

    Global I 0.86408207, its mean -0.00392157 and variance 0.00209280: `moran.test`.
    """
    grid = getisord(30)
    whole = morans_i(grid.values, row_standardised(grid.adjacency))
    assert_allclose([whole.i, whole.variance], [0.86408207, 0.00209280], atol=6e-9)
    star = getis_ord(grid.values, grid.adjacency)
    plain = getis_ord(grid.values, grid.adjacency, star=False)
    assert_allclose(star, grid.local["Gistar"], rtol=STATISTIC, atol=1e-12)
    assert_allclose(plain, grid.local["Gi"], rtol=STATISTIC, atol=1e-12)
    moran = local_moran(grid.values, grid.adjacency)
    assert_allclose(moran, grid.local["Ii_nm1"], rtol=STATISTIC, atol=1e-13)
    assert_allclose(moran * 256 / 255, grid.local["Ii_n"], rtol=STATISTIC, atol=1e-13)


def test_african_conflict_as_a_whole() -> None:
    """Source: Anselin 1995, Geogr. Anal. 27, 93-115 (data spData afcon, paper.nb), by R spdep."""
    africa = network("afcon", value="totcon", first=1)
    found = morans_i(africa.values, row_standardised(africa.adjacency))
    assert_allclose(found.i, 0.41679563194, rtol=STATISTIC)
    assert_allclose(found.expected, -0.02439024390, rtol=STATISTIC)
    assert_allclose(found.variance, 0.01029357742, rtol=STATISTIC)
    assert_allclose(found.z, 4.3484896, rtol=1e-7)


def test_african_conflict_country_by_country() -> None:
    """Source: as above; the named countries are those discussed in the paper."""
    africa = network("afcon", value="totcon", first=1)
    star = getis_ord(africa.values, africa.adjacency)
    moran = local_moran(africa.values, africa.adjacency)
    assert_allclose(star, africa.local["Gistar"], rtol=STATISTIC)
    assert_allclose(moran, africa.local["Ii_nm1"], rtol=STATISTIC, atol=1e-13)
    assert_allclose(moran * 42 / 41, africa.local["Ii_n"], rtol=STATISTIC, atol=1e-13)
    place = {name: number for number, name in enumerate(africa.local["name"])}
    north_east = [place[name] for name in ("EGYPT", "SUDAN", "KENYA")]
    assert_allclose(star[north_east], [4.421336, 4.039252, 3.503019], atol=6e-7)
    assert_allclose(moran[north_east], [6.78133, 2.91664, 1.16843], atol=6e-6)
