"""The documents of a pack to fill in: pack sheet, spec card, shelf."""

from __future__ import annotations

PACK = """# platepull pack sheet: what was measured and what was pulled. Leave out what you did not measure; what has a * must stay.
# Every value is a text with its unit: "2.01 mm", "0.0787 in", "31.2 N.m".
[pack]                             # *
unit = "demo 1"                    # *
spec = "SPEC.toml"
shelf = "SHELF.toml"
oil = "modified"                   # * plain | modified | strong | spent | unknown | dry, or its name
plate_state = "used"               # new | run_in | used, as fitted now
closure = "final"                  # trial (two or three screws) | final (every bolt at its torque)
arrangement = "A"                  # * how it was pulled: A one output held, case free; B case held; ...

[face]                             # * the rubbing ring
outer_diameter = "95 mm"
inner_diameter = "66 mm"

[[plates]]                         # every plate measured, fitted or not; or leave all out and give stack_height below
id = "L1"
kind = "outer"                     # inner (splined to the side gear) | outer (tabbed to the case)
thickness = ["1.90 mm", "1.91 mm"] # on the rubbed track, at several places
unworn = "1.91 mm"                 # on the tab or spline
flatness = "0.03 mm"
# condition = "cracked"            # cracked, blue or bare

[[plates]]
id = "L2"
kind = "inner"
thickness = ["1.61 mm", "1.60 mm"]

[[plates]]
id = "L3"
kind = "outer"
thickness = ["1.90 mm", "1.90 mm"]

[[plates]]
id = "R1"
kind = "outer"
thickness = ["1.90 mm", "1.90 mm"]

[[plates]]
id = "R2"
kind = "inner"
thickness = ["1.61 mm", "1.61 mm"]

[[plates]]
id = "R3"
kind = "outer"
thickness = ["1.90 mm", "1.91 mm"]

[[springs]]                        # * every cup spring, fitted or not
id = "SL1"
outer_diameter = "90 mm"
inner_diameter = "62 mm"
thickness = "1.87 mm"
free_height = "3.63 mm"            # overall

[[springs]]
id = "SR1"
outer_diameter = "90 mm"
inner_diameter = "62 mm"
thickness = "1.86 mm"
free_height = "3.65 mm"

[left]                             # * what is fitted now
plates = ["L1", "L2", "L3"]        # * in order from the case wall to the pressure ring; kinds where no plate has an entry
springs = ["SL1"]
stack = "("                        # a sign a spring: equal neighbours are nested, a change is opposed: "(", "((", "()"
shims = ["0.60 mm"]                # * [] for none
stack_height = "5.41 mm"           # the plates pressed flat together, springs not among them
stack_with_shims = false           # true: the fitted shims were in it

[right]                            # *
plates = ["R1", "R2", "R3"]
springs = ["SR1"]
stack = "("
shims = ["0.60 mm"]
stack_height = "5.41 mm"

[space]                            # one of three usual ways; without it the springs' travel is learnt from the pulls
form = "per_side"                  # per_side: case_depth - gear_height, a side
left.case_depth = "41.60 mm"
left.gear_height = "33.00 mm"
right.case_depth = "41.60 mm"
right.gear_height = "33.00 mm"
# form = "across"                  # case_depth_1 + case_depth_2 - overlap - centre
# form = "cover"                   # edge_to_plate - cover_boss, with measured_with_shims = ["1.00 mm"] fitted

# [block]                          # only where the springs stand between the side gears
# count = 2
# rate = "62 N/mm"
# free_length = "38.2 mm"
# fitted_length = "24.0 mm"

[[history]]                        # oldest first: which stack gave which result; parts only where they differ from those above
note = "as found"
arrangement = "A"
oil = "modified"
left.shims = ["0.60 mm"]
right.shims = ["0.60 mm"]
breakaway = ["16.4 N.m", "17.0 N.m", "17.3 N.m"]  # one value a pull; "free" where nothing held
sliding = ["15.9 N.m", "16.5 N.m", "16.8 N.m"]
# traces = ["pulls/p1.csv"]        # or trace files
# end_play = ["0.31 mm", "0.28 mm"]
"""

SPEC = """# platepull spec card: what the maker's page of YOUR unit says. What stands here is an example and no recommendation.
[card]
unit = "demo 1"
page = "sheet 12"
version = 1

[window]                           # * or [[window]] several times, for new and used plates
torque = "20..28 N.m"              # *
also_printed = "14.8..20.7 lbf.ft" # the page's second unit, to find misprints
basis = "breakaway"                # breakaway | sliding
arrangement = "A"
plate_state = "used"

[limits]                           # what the page limits; leave out what it does not
wear = "0.10 mm"
flatness = "0.08 mm"
left_right = "0.05 mm"             # plates and shims of one side against the other
share_of_flat = "90 %"             # springs' deflection over cone height
# thickness_min.inner = "1.50 mm"
# clearance = "0.10..0.40 mm"      # springs' travel left to flat
# end_play = "0.05..0.15 mm"       # a side

[build]                            # *
layout = "each"                    # * each (a space a side) | through (one line across) | block (springs between the side gears)
thicker_shim = "more preload"      # * | "less preload" (a spacer that makes room) | "less clearance" (the shim sets the end play)
shim_sides = ["left", "right"]
shims_per_side = 3
shims_total_max = "2 mm"
faces_per_side = 2
plates_per_side = 3
# ramps = "45 deg"
# ratio = 4.1                      # pinion to ring gear

[springs]                          # new ones
per_side = 1
stack = "("
outer_diameter = "90 mm"
inner_diameter = "62 mm"
thickness = "1.85 mm"
free_height = "3.70 mm"
"""

SHELF = """# platepull shelf: what is in stock. What is fitted now can be used again and need not stand here.
[[shims]]
thickness = "0.10 mm"
count = 4

[[shims]]
thickness = "0.20 mm"
count = 4

# [[plates]]
# id = "GO210"
# kind = "outer"
# thickness = "2.10 mm"
# count = 4

# [[springs]]
# id = "NS1"
# outer_diameter = "90 mm"
# inner_diameter = "62 mm"
# thickness = "1.85 mm"
# free_height = "3.70 mm"
# count = 2
"""

TEMPLATES = {"pack": PACK, "spec": SPEC, "shelf": SHELF}
"""By the name that `--template` takes."""
