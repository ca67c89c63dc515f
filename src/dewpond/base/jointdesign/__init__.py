"""Outlets and pipe chosen together at least whole cost, with a proven lower bound."""

from dewpond.base.jointdesign.problem import JointDesign, JointLimits, JointProblem
from dewpond.base.jointdesign.solve import design_jointly

__all__ = ["JointDesign", "JointLimits", "JointProblem", "design_jointly"]
