"""The report that a person reads, and the writing of all files."""
