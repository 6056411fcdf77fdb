"""Models of redundant control, and what shows them; see DEVELOPERS.md for the house."""
