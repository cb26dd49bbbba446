"""What a bare board is made of: heat capacity and conduction of laminate with copper, by mass."""

# Laminate with copper, 1.6 mm: (kg/m2, J/m2 K, W/m K in plane), from bare FR-4 over 2 and 4 layers
# of 35 um at 50 % to 8 layers at 70 %. Parallel rule over FR-4 (1850 kg/m3, 1100 J/kg K, 0.8 W/m K)
# and copper (8960, 385, 390); the two specific heats are from memory.
LAMINATES = (
    (2.96, 3256.0, 0.8),
    (3.21, 3306.0, 9.3),
    (3.46, 3355.0, 17.8),
    (4.35, 3533.0, 48.5),
)
HEAVIEST_KG_M2 = LAMINATES[-1][0]  # what a board has beyond it is components


def laminate(areal_mass_kg_m2: float, column: int) -> float:
    """Return a column of LAMINATES between its rows, in proportion to mass below the first."""
    if areal_mass_kg_m2 <= LAMINATES[0][0]:
        return LAMINATES[0][column] * areal_mass_kg_m2 / LAMINATES[0][0]
    for low, high in zip(LAMINATES, LAMINATES[1:], strict=False):
        if areal_mass_kg_m2 <= high[0]:
            share = (areal_mass_kg_m2 - low[0]) / (high[0] - low[0])
            return low[column] + share * (high[column] - low[column])
    return LAMINATES[-1][column]
