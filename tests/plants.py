"""Plant files that more than one test reads."""

# A controller, its rack wired straight, and nothing else: no pair, no panel.
SINGLE = """
format = 1
[plant]
name = "Pump pit"
[[part]]
designation = "A1"
what = "controller"
kind = "controller"
mtbf_h = 60000
mttr_h = 4
[[part]]
designation = "R1"
what = "rack"
kind = "rack"
mtbf_h = 100000
mttr_h = 3
[[part]]
designation = "W1"
what = "cable"
kind = "cable"
mtbf_h = 400000
mttr_h = 6
joins = ["A1", "R1"]
[[function]]
name = "control kept"
reached = ["R1"]
"""

# A second controller beside that one, with a cable of its own to the rack.
PAIR = """
[[part]]
designation = "A2"
what = "second controller"
kind = "controller"
mtbf_h = 60000
mttr_h = 4
[[part]]
designation = "W2"
what = "cable"
kind = "cable"
mtbf_h = 4e9
mttr_h = 6
joins = ["A2", "R1"]
[[part]]
designation = "W9"
what = "sync cable"
kind = "cable"
mtbf_h = 4e9
mttr_h = 6
joins = ["A1", "A2"]
[pair]
units = ["A1", "A2"]
sync = ["W9"]
common_cause = 0.05
coverage = 0.97
diagnosed = 0.9
test_interval_h = 4380
restart_h = 0.5
"""

# What is practised on Brackenquay, by title: the faults that are switched on, in order.
DRILLS = {
    "active loses power": ("KF1: no power",),
    "standby loses power": ("KF2: no power",),
    "program stands still, heartbeat goes on": ("KF1: frozen",),
    "sync cable cut": ("WF9: cut",),
    "sync cable noisy": ("WF9: noise",),
    "link of the active unit to one rack": ("WF1.10: cut",),
    "both links of one rack": ("WF1+WF2: cut",),
    "interface dead and silent": ("KF10B: dead and silent",),
    "rack module fault": ("KF10: module fault",),
    "voltage dip, both restart": ("TB1: voltage dip",),
    "repeater without power": ("TF1: no power",),
    "terminator missing": ("WF3: terminator missing",),
    "third terminator": ("WF3: third terminator",),
    "A and B swapped after a repair": ("WF4: A and B swapped",),
    "lamp of the panel dead": ("PH1: lamp dark",),
    "level sensor stuck": ("BL1: stuck",),
    "integrator does not track": ("KF2: integrator not tracking", "test: role change"),
    "hold time set too short": ("settings: hold time too short", "KF1: no power"),
    "programs differ": ("KF2: program differs",),
    "role change refused": ("KF2: restarted", "test: role change"),
    "no fault: planned test": ("test: role change",),
    "noise and a weak heartbeat setting": ("settings: one missed beat", "WF9: noise"),
    "both think that they lead": ("settings: racks not asked", "WF9: cut"),
}
