"""The sheet: one page for the desk, the deck and the boat, as a file that needs nothing else."""
