"""Plan to accounts and traces: `simulate` for the cases of one dive, `simulate_many` for sampled runs."""
