"""Global and local statistics against R's spdep, esda and published cases."""

from __future__ import annotations

from itertools import permutations

import geopandas as gpd
import numpy as np
import pytest
from libpysal import examples
from libpysal.graph import read_gal
from numpy.testing import assert_allclose
from reference.tables import Network, network, table
from scipy import sparse

from spatial.autocorrelation import (
    gearys_c,
    general_g,
    getis_ord,
    local_moran,
    morans_i,
    row_standardised,
)

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


GEARY = {
    # R spdep 1.2-7: geary.test(x, nb2listw(nb, style = "W" or "B")): C, variance, (1 - C) / sd.
    "columbus": (0.54052820270206847, 0.00938426377696502, 4.74306150050445829),
    "sids2": (0.72527846210856650, 0.00577737456782617, 3.61432703578466308),
    "fir": (0.90638098062475303, 0.00644614388236158, 1.16604172222130109),
    "orchardsprays": (0.97669561868777188, 0.00470450033415215, 0.33976671076304971),
}
GEARY_BINARY = {
    "columbus": (0.5916113240630412, 0.0115834345601252, 3.7945040127877254),
    "sids2": (0.6735275463173938, 0.0106428720088818, 3.1645876115279998),
    "fir": (0.87532394919569934, 0.00903721134624025, 1.31149251951485457),
    "orchardsprays": (0.97288448555126261, 0.00543390650000759, 0.36784238333357439),
}
GENERAL_G = {
    # R spdep 1.2-7: globalG.test(x, nb2listw(nb, style = "B")): G, variance, z.
    "columbus": (1.27807457381954e-01, 3.50705730380717e-05, 4.63815093198543),
    "sids2": (5.45094448976534e-02, 8.43062363501930e-06, 2.70109639854398),
    "fir": (1.38893892992254e-01, 7.65588586285719e-05, 1.22638661413598),
    "orchardsprays": (9.61660070703802e-02, 4.50702550587687e-05, -1.19173799292427),
}


@pytest.mark.parametrize("name", GEARY)
def test_gearys_c_equals_spdep(name: str) -> None:
    """Source: R spdep 1.2-7 `geary.test`, randomisation. Its z has the other sign."""
    stored = network(name)
    standard = gearys_c(stored.values, row_standardised(stored.adjacency))
    binary = gearys_c(stored.values, stored.adjacency)
    assert_allclose([standard.c, standard.variance, -standard.z], GEARY[name], rtol=STATISTIC)
    assert_allclose([binary.c, binary.variance, -binary.z], GEARY_BINARY[name], rtol=STATISTIC)
    assert standard.expected == 1


@pytest.mark.parametrize("name", GENERAL_G)
def test_general_g_equals_spdep(name: str) -> None:
    """Source: R spdep 1.2-7 `globalG.test`, binary weights."""
    stored = network(name)
    found = general_g(stored.values, stored.adjacency)
    assert_allclose([found.g, found.variance, found.z], GENERAL_G[name], rtol=STATISTIC)
    n = len(stored.values)
    assert_allclose(found.expected, stored.adjacency.sum() / n / (n - 1), rtol=1e-14)


@pytest.mark.parametrize("name", LIBPYSAL)
@pytest.mark.filterwarnings("ignore")
def test_global_statistics_equal_esda(name: str) -> None:
    """Source: esda 2.9 `Moran`, `Geary` and `G`, without permutations."""
    from esda import G, Geary, Moran  # noqa: PLC0415 - warns when imported

    values, adjacency = installed(name)
    standard = row_standardised(adjacency)
    moran = Moran(values, _weights(adjacency), permutations=0)
    geary = Geary(values, _weights(adjacency), permutations=0)
    general = G(values, _weights(adjacency), permutations=0)
    ours = (morans_i(values, standard), gearys_c(values, standard), general_g(values, adjacency))
    assert_allclose([ours[0].i, ours[0].z], [moran.I, moran.z_rand], rtol=STATISTIC)
    assert_allclose([ours[1].c, ours[1].z], [geary.C, geary.z_rand], rtol=STATISTIC)
    assert_allclose([ours[2].g, ours[2].z], [general.G, general.z_norm], rtol=STATISTIC)


def test_moments_are_those_of_every_possible_map() -> None:
    """Source: brute force, all 720 orders of six catches on weights that are not symmetric."""
    values = np.array([0.0, 1, 1, 2, 5, 9])
    random = np.random.default_rng(5)
    weights = random.random((6, 6)) * (random.random((6, 6)) < 0.5)
    np.fill_diagonal(weights, 0)
    maps = [np.array(order) for order in permutations(values)]
    moran = [morans_i(each, weights).i for each in maps]
    geary = [gearys_c(each, weights).c for each in maps]
    general = [general_g(each, weights).g for each in maps]
    found = (morans_i(values, weights), gearys_c(values, weights), general_g(values, weights))
    for statistic, drawn in zip(found, (moran, geary, general), strict=True):
        assert_allclose(np.mean(drawn), statistic.expected, rtol=1e-11)
        assert_allclose(np.var(drawn), statistic.variance, rtol=1e-11)


def islands() -> Network:
    """Return the fir quadrats with the first and the 28th cut off from all others."""
    stored = network("fir")
    near = stored.adjacency.copy()
    near[[0, 27]] = near[:, [0, 27]] = False
    return Network(stored.values, near, stored.local)


def test_places_without_neighbours_count_as_places() -> None:
    """Source: R spdep 1.2-7 with zero.policy and adjust.n = FALSE on the fir quadrats.

    `moran.test` I .03852202209472166, variance .00620457121521072; `geary.test` C
    .93791188875708442, variance .00883600676921234. With adjust.n = TRUE, its default, spdep takes
    n = 48 and says I = .03698114121093279: ours by 48/50. General G: esda 2.9 `G`, since spdep
    takes the products over the 48 only.
    """
    cut = islands()
    moran = morans_i(cut.values, row_standardised(cut.adjacency))
    geary = gearys_c(cut.values, row_standardised(cut.adjacency))
    general = general_g(cut.values, cut.adjacency)
    assert_allclose([moran.i, moran.variance], [0.03852202209472166, 0.00620457121521072], 1e-12)
    assert_allclose([geary.c, geary.variance], [0.93791188875708442, 0.00883600676921234], 1e-12)
    assert_allclose(moran.i * 48 / 50, 0.03698114121093279, rtol=1e-12)
    assert_allclose([general.g, general.z], [0.13060709782021257, 1.2096446198884532], rtol=1e-10)


def test_places_without_neighbours_have_no_local_statistic_and_change_no_other() -> None:
    """Source: R spdep 1.2-7 `localG` on the same: NaN at 1 and 28; 2 and 29 as below.

    Its `localmoran` says 0 at 1 and 28, where there is nothing to say; ours is NaN.
    """
    cut = islands()
    plain = getis_ord(cut.values, cut.adjacency, star=False)
    star, moran = getis_ord(cut.values, cut.adjacency), local_moran(cut.values, cut.adjacency)
    assert_allclose(plain[[1, 28]], [-1.557030563696620, 0.260377821961648], rtol=1e-12)
    assert_allclose(star[[1, 28]], [-1.7313657963466860, 0.2187349949663607], rtol=1e-12)
    assert_allclose(moran[[1, 28]], [0.53957295373665493, -0.00846975088967972], rtol=1e-12)
    assert np.isnan([plain[[0, 27]], star[[0, 27]], moran[[0, 27]]]).all()


@pytest.mark.parametrize("kind", [sparse.csr_array, sparse.csr_matrix, sparse.coo_array])
def test_sparse_weights_give_what_arrays_give(kind: type[sparse.csr_array]) -> None:
    """Source: ours on arrays, to 1e-12, islands and unequal weights included."""
    cut = islands()
    weights = cut.adjacency * np.random.default_rng(2).random(cut.adjacency.shape)
    for dense in (cut.adjacency.astype(float), weights):
        thin = kind(dense)
        for statistic in (getis_ord, local_moran):
            assert_allclose(statistic(cut.values, thin), statistic(cut.values, dense), rtol=1e-12)
        assert_allclose(
            getis_ord(cut.values, thin, star=False),
            getis_ord(cut.values, dense, star=False),
            rtol=1e-12,
        )
        assert morans_i(cut.values, thin) == morans_i(cut.values, dense)
        assert gearys_c(cut.values, thin) == gearys_c(cut.values, dense)
        assert general_g(cut.values, thin) == general_g(cut.values, dense)
        shares = row_standardised(thin)
        assert sparse.issparse(shares)
        assert_allclose(shares.toarray(), row_standardised(dense), rtol=1e-12)


def test_general_g_of_values_below_zero_is_refused() -> None:
    with pytest.raises(ValueError, match=r"no value below zero; found -1"):
        general_g([1.0, -1.0, 2.0, 3.0], np.ones((4, 4)) - np.eye(4))


@pytest.mark.parametrize("statistic", [morans_i, gearys_c, general_g, getis_ord, local_moran])
def test_weights_that_do_not_fit_are_refused(statistic: object) -> None:
    assert callable(statistic)
    with pytest.raises(ValueError, match=r"found shapes \(3,\) and \(4, 4\)"):
        statistic([1.0, 2.0, 3.0], np.ones((4, 4)) - np.eye(4))
    with pytest.raises(ValueError, match="a place beside itself"):
        statistic([1.0, 2.0, 3.0, 4.0], np.ones((4, 4)))


@pytest.mark.parametrize("value", [0.0, 4.0, 0.1])
def test_equal_values_have_no_autocorrelation(value: float) -> None:
    """Source: by hand, 0/0. Twelve times 0.1 has a variance above zero by rounding alone."""
    near = np.abs(np.subtract.outer(np.arange(12), np.arange(12))) == 1
    values = np.full(12, value)
    found = (morans_i(values, near), gearys_c(values, near), general_g(values, near))
    assert np.isnan([found[0].i, found[0].z, found[1].c, found[1].z]).all()
    assert np.isnan([found[2].g, found[2].z]).all()
    assert np.isnan([getis_ord(values, near), local_moran(values, near)]).all()
