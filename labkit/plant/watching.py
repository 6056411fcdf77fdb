"""What a plant asks of the rooms below it: what can fail in it, and which failures are noticed.

The pair and the rig stand below this room. So `labkit/__init__.py`, which stands above all rooms,
hands their answers in.
"""

from collections.abc import Callable, Mapping, Sequence

share_noticed: Callable[..., float]
"""From a plant and the name of a part or event, which share of its failures the rig shows."""
fault_kinds: Callable[[], Sequence]
"""The table of fault kinds."""
faults_of: Callable[..., Mapping]
"""From a plant, all faults that can be switched on in it."""
