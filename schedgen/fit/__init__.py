"""The best dive that passes: a search over edits of a dive file, each candidate judged by every rule in the worst case.

Pure: texts and loaded dives in, edits and proofs out. `schedgen fit` is the command.
"""
