"""Head lost to friction in full pipes, its slope and its inverse, on arrays in SI units.

Flow is signed: a loss has the sign of its flow, so that head never rises along the flow.
"""

from dewpond.base.friction.factor import (
    LAMINAR_LIMIT,
    TURBULENT_LIMIT,
    VISCOSITY_AT_10_C_M2_S,
    colebrook_factor_and_slope,
    friction_factor_and_slope,
    reynolds_number,
)
from dewpond.base.friction.fittings import (
    VALVE_DISCHARGE_COEFFICIENT,
    float_valve_coefficient_m2,
    float_valve_flow_m3_s,
    float_valve_head_m,
    minor_loss_m,
    velocity_head_scale,
    velocity_m_s,
)
from dewpond.base.friction.laws import (
    ROUGHNESS_PE_M,
    DarcyWeisbach,
    FixedFactor,
    FrictionLaw,
    HazenWilliams,
    bore_for_loss_m,
    power_loss_and_slope,
)

__all__ = [
    "LAMINAR_LIMIT",
    "ROUGHNESS_PE_M",
    "TURBULENT_LIMIT",
    "VALVE_DISCHARGE_COEFFICIENT",
    "VISCOSITY_AT_10_C_M2_S",
    "DarcyWeisbach",
    "FixedFactor",
    "FrictionLaw",
    "HazenWilliams",
    "bore_for_loss_m",
    "colebrook_factor_and_slope",
    "float_valve_coefficient_m2",
    "float_valve_flow_m3_s",
    "float_valve_head_m",
    "friction_factor_and_slope",
    "minor_loss_m",
    "power_loss_and_slope",
    "reynolds_number",
    "velocity_head_scale",
    "velocity_m_s",
]
