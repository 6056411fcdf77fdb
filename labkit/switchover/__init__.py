"""The pair in time: settings, clocks, faults, roles, rules, lamps, record."""
