"""The physics of the whole drop: small modules of plain functions, one equation each.

Every function names its units, its validity range and its source, and carries the source's own worked
number as an example that runs as a test. Outside the range it raises `schedgen.errors.OutOfRange` naming
the bound. Nothing here knows files, dives or plans.
"""
