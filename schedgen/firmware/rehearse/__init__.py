"""The rehearsal: the very image that `compile` made, flown through the dive on a simulated microcontroller.

`part_*.py` (imported only by the worker process) model the hardware; `worker.py` is that process; `supervisor.py`
starts it and talks to it; the rest knows nothing of the simulator.
"""
