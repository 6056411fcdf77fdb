"""The exercise engine: reading, judging and answering, and the learner's record."""
