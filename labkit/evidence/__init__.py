"""What records and tests prove: limits, claims, causes from signs, a year of events."""
