"""The refit sheet to fill in."""

TEMPLATE = """# platepull refit sheet. Delete what you do not use; every part may stand several times.
# Names, windows and signs come from the maker's page of YOUR unit: what stands here is an example and no recommendation.
[refit]
unit = ""
page = ""

[[bearing]]
name = "side bearings"
form = "gap"                       # gap (cover without bolts, feeler) | end_play (dial) | depths (depth_case, depth_bearing)
gap = ["0.00 mm", "0.00 mm", "0.00 mm", "0.00 mm"]
wanted = "0.00..0.00 mm"           # interference, both ends
shims_now = ["0.00 mm"]
thicker_shim = "more preload"      # or "less preload", where the shim makes room under a bolted retainer
shelf = ["0.00 mm"]
shims_max = 2
turned = 5

[[drag]]
name = "side bearings"
torque = ["0.0 N.m"]               # or traces = ["drag.csv"], turned slowly over at least one turn and a quarter
window = "0.0..0.0 N.m"
sensor_u = "0.1 N.m"

[[backlash]]
name = "ring gear"
points = ["0.00 mm", "0.00 mm", "0.00 mm", "0.00 mm"]
window = "0.00..0.00 mm"
# variation_max = "0.05 mm"
# per_shim = "0.00 mm per 0.10 mm" # change of backlash for shim moved from one side to the other

[[fasteners]]
name = "ring gear bolts"
count = 10
torque = "1 N.m"
# angle = "90 deg"
# angle_tolerance = "5 deg"
# locked_by = "tabs"
thread = "right"                   # or "left"
state = "new"                      # or "reused"
single_use = true                  # lock tabs, stretch, patch or encapsulated bolts
threads = "dry"                    # dry | oiled | threadlock
peaks = []                         # of the last pass, bolt 1 first, "-" for one not recorded

[[fill]]
name = "gear oil"
drained = "0.0 l"
filled = "0.0 l"
# wanted = "0.0..0.0 l"
# additive = "4 %"                 # of what is filled, or a volume
# additive_added = "0 ml"
"""
