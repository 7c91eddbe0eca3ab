"""One file per command; `scripts.cli` lists them."""
