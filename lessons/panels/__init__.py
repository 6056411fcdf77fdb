"""Controls around the pictures: each panel starts itself from one line in one cell."""
