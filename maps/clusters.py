"""The files of `snoutline clusters`: every trap's tests, and the network's, for programs."""

from __future__ import annotations

import json

import pandas as pd

from maps.cluster_words import cluster_sentences
from maps.columns import CLUSTERS
from maps.exports import csv_text, provenance_facts
from maps.language_file import english
from maps.summary import plain
from spatial.cluster_detail import ClusterDetail
from spatial.results import Chance

FORMAT = "snoutline clusters 1"


def clusters_csv(detail: ClusterDetail) -> str:
    """Return `clusters.csv`: columns `maps.columns.CLUSTERS`, one row per trap location."""
    analysis = detail.analysis
    traps = analysis.traps
    table = pd.DataFrame(traps.drop(columns="geometry")).assign(
        week=analysis.season.week,
        cutoff=analysis.season.cutoff.isoformat(),
        easting_m=traps.geometry.x,
        northing_m=traps.geometry.y,
        component=detail.components,
        place_z=analysis.placement.residual,
        week_gi_star=detail.week.gi_star,
        week_p_patch=detail.week.p_patch,
        week_mark=detail.week.mark,
    )
    return csv_text(table, CLUSTERS)


def clusters_json(detail: ClusterDetail) -> str:
    """Return `clusters.json`: sentences, tests of the network, links, and where it all is from."""
    analysis = detail.analysis
    effect, lasting = analysis.placement, detail.persistence
    document = {
        "format": FORMAT,
        "provenance": provenance_facts(analysis),
        "sentences": cluster_sentences(detail, english()),
        "global": plain(detail.overall),
        "placement": {
            "reason": effect.reason,
            "traps": effect.traps,
            "p": plain(effect.p),
            "k": plain(effect.k),
            "terms": _records(effect.terms),
            "left_out": _records(effect.left_out),
        },
        "persistence": {
            "median": plain(lasting.median),
            "low": plain(lasting.low),
            "high": plain(lasting.high),
            "coverage": plain(lasting.coverage),
            "reason": lasting.reason,
            "pairs": _records(lasting.pairs),
        },
        "would_find": [
            {**_record(plain(one)), "share": one.share, "standard_error": one.error}
            for one in detail.chances
        ],
        "would_find_fingerprint": detail.fingerprint,
        "links": _records(analysis.links),
        "settings": plain(analysis.site.settings.marks),
        "versions": dict(analysis.versions),
    }
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def known_chances(text: str) -> dict[str, tuple[Chance, ...]]:
    """Return the simulated chances of an earlier `clusters.json`, by fingerprint; none if unfit.

    Examples
    --------
    >>> known_chances("not JSON"), known_chances("[]")
    ({}, {})
    """
    try:
        document = json.loads(text)
        found = tuple(
            Chance(one["traps"], one["fold"], one["found"], one["maps"])
            for one in document["would_find"]
        )
        return {document["would_find_fingerprint"]: found} if document["format"] == FORMAT else {}
    except (ValueError, KeyError, TypeError):
        return {}


def _records(table: pd.DataFrame) -> list[object]:
    return [plain(row) for row in table.to_dict("records")]


def _record(value: object) -> dict[str, object]:
    return dict(value) if isinstance(value, dict) else {}
