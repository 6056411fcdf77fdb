"""Which failures are noticed: the sums of a plant need it, and only running the rig tells it.

The rig stands below this room. So `labkit/__init__.py`, which stands above all rooms, hands its
answer in.
"""

from collections.abc import Callable

__all__ = ["share_noticed"]

share_noticed: Callable[..., float]
"""From a plant and the name of a part or event, which share of its failures the rig shows."""
