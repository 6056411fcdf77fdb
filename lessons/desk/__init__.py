"""JupyterLab on a folder, and the learner's copy of the lessons."""
