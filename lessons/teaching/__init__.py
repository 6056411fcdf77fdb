"""What an instructor takes into the room: run sheets, keys, copies, slides, the class."""
