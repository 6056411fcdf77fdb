"""Other languages: a catalogue, and the edges at which what is said in English is turned."""
