"""What each outlet really gets when its float valve stands open."""

from dewpond.steps.delivery.deliver import deliver

__all__ = ["deliver"]
