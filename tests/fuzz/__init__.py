"""Coverage-guided fuzzing of every reader, run by hand."""
