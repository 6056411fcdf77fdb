"""The questions of each lesson, one module for each."""
