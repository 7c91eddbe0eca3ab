"""The demo's `site.toml`."""

SITE_TOML = """\
# An invented site: no place, person or number in this folder is real. See the README beside it.
name = "Ostrel Common Municipal Grounds"
crs = "EPSG:32623"
units = "us"
target_species = [
  "Sphenophorus parvulus",
  "Sphenophorus venatus",
  "Sphenophorus cicatristriatus",
]
bycatch_columns = ["carabids", "spiders"]

[season]
start = "02-15"
end = "08-31"

[species_columns]
parvulus = "Sphenophorus parvulus"
venatus = "Sphenophorus venatus"
cicatristriatus = "Sphenophorus cicatristriatus"

[designs.cup]
reference = true

[designs.linear]

[map]
class_breaks = [0.5, 1, 2, 4, 8]
"""
