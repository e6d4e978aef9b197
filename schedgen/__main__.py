"""`python -m schedgen` is the same as `schedgen`."""

from schedgen.commands import main

main()
