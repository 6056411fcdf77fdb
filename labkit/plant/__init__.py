"""A plant from its file: its check, wiring, causes, variants, and what outages cost."""
