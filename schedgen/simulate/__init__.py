"""Plan to accounts and traces: `simulate` for the cases of one dive, `simulate_many` for sampled runs."""

from schedgen.simulate.results import Account, Case, LoadHeat, Results, Trace
from schedgen.simulate.run import simulate
from schedgen.simulate.sampled import Sampled, simulate_many

__all__ = ["Account", "Case", "LoadHeat", "Results", "Sampled", "Trace", "simulate", "simulate_many"]
