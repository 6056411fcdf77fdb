"""Plant, pair and tank together: effects, checks, fault finding, stories."""
