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

# What an invented committee agreed on for these invented grounds; no limit for anywhere else.
[[limits]]
adults_per_trap_week = 2
source = "grounds committee"
dated = "2025-11-12"

[[limits]]
use = "rough"
adults_per_trap_week = 4
source = "grounds committee"
dated = "2025-11-12"

[[limits]]
larvae_per_ft2 = 10
source = "grounds committee"
dated = "2025-11-12"

[decision]
larvae_from = "06-08"
"""
