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
