"""What is drawn: the plant, its lamps, trends, curves and diagrams."""
