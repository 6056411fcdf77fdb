"""What only the rooms below know of a plant, and this room needs: its faults, and which are noticed.

Only running the rig tells which failures are noticed, and what can fail stands with the pair. So
`labkit/__init__.py`, which stands above all rooms, hands both answers in.
"""

from collections.abc import Callable, Mapping

faults_of: Callable[..., Mapping]
"""From a plant, every fault that can be switched on, by its id."""

share_noticed: Callable[..., float]
"""From a plant and the name of a part or event, which share of its failures the rig shows."""
