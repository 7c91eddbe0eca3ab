"""How an analysis is shown: the map page and the exported tables. No statistics here."""
