"""Molar masses from atoms counted by hand and the standard atomic weights 2021 with their uncertainty."""

# value and decisional uncertainty U, g/mol: Prohaska et al., Pure Appl. Chem. 94 (2022) 573-600, abridged values
WEIGHTS = {
    "H": (1.0080, 0.0002),
    "C": (12.011, 0.002),
    "N": (14.007, 0.001),
    "O": (15.999, 0.001),
    "Na": (22.98976928, 0.00000002),
    "Mg": (24.305, 0.002),
    "Al": (26.9815384, 0.0000003),
    "P": (30.973761998, 0.000000005),
    "S": (32.06, 0.02),
    "Cl": (35.45, 0.01),
    "K": (39.0983, 0.0001),
    "Ca": (40.078, 0.004),
    "Cr": (51.9961, 0.0006),
    "Mn": (54.938043, 0.000002),
    "Fe": (55.845, 0.002),
    "Ni": (58.6934, 0.0004),
    "Cu": (63.546, 0.003),
    "Ag": (107.8682, 0.0002),
    "I": (126.90447, 0.00003),
    "Ba": (137.327, 0.007),
}

ATOMS = {
    "H^+": dict(H=1),
    "HCl": dict(H=1, Cl=1),
    "NaOH": dict(Na=1, O=1, H=1),
    "H2SO4": dict(H=2, S=1, O=4),
    "CH3COOH": dict(C=2, H=4, O=2),
    "CaCO3": dict(Ca=1, C=1, O=3),
    "CaO": dict(Ca=1, O=1),
    "Ca": dict(Ca=1),
    "Ca^2+": dict(Ca=1),
    "Mg": dict(Mg=1),
    "MgO": dict(Mg=1, O=1),
    "Mg(OH)2": dict(Mg=1, O=2, H=2),
    "Fe": dict(Fe=1),
    "Fe^2+": dict(Fe=1),
    "Fe2O3": dict(Fe=2, O=3),
    "FeSO4.7H2O": dict(Fe=1, S=1, O=11, H=14),
    "Fe2(SO4)3": dict(Fe=2, S=3, O=12),
    "Cl": dict(Cl=1),
    "Cl^-": dict(Cl=1),
    "NaCl": dict(Na=1, Cl=1),
    "KCl": dict(K=1, Cl=1),
    "AgCl": dict(Ag=1, Cl=1),
    "Cu": dict(Cu=1),
    "CuO": dict(Cu=1, O=1),
    "CuSO4.5H2O": dict(Cu=1, S=1, O=9, H=10),
    "NaClO": dict(Na=1, Cl=1, O=1),
    "Cl2": dict(Cl=2),
    "KIO3": dict(K=1, I=1, O=3),
    "H2O2": dict(H=2, O=2),
    "O2": dict(O=2),
    "Al": dict(Al=1),
    "Al2O3": dict(Al=2, O=3),
    "Al(OH)3": dict(Al=1, O=3, H=3),
    "MnO2": dict(Mn=1, O=2),
    "Mn": dict(Mn=1),
    "KMnO4": dict(K=1, Mn=1, O=4),
    "C8H5KO4": dict(C=8, H=5, K=1, O=4),
    "Na2CO3": dict(Na=2, C=1, O=3),
    "NaHCO3": dict(Na=1, H=1, C=1, O=3),
    "H2C2O4.2H2O": dict(H=6, C=2, O=6),
    "S2O3^2-": dict(S=2, O=3),
    "C10H14N2O8^2-": dict(C=10, H=14, N=2, O=8),
    "CO3^2-": dict(C=1, O=3),
    "HCO3^-": dict(H=1, C=1, O=3),
    "K2Cr2O7": dict(K=2, Cr=2, O=7),
    "H3PO4": dict(H=3, P=1, O=4),
    "P": dict(P=1),
    "P2O5": dict(P=2, O=5),
    "KH2PO4": dict(K=1, H=2, P=1, O=4),
    "Mg2P2O7": dict(Mg=2, P=2, O=7),
    "BaSO4": dict(Ba=1, S=1, O=4),
    "SO4^2-": dict(S=1, O=4),
    "SO3": dict(S=1, O=3),
    "Na2SO4": dict(Na=2, S=1, O=4),
    "NiC8H14N4O4": dict(Ni=1, C=8, H=14, N=4, O=4),
    "Ni": dict(Ni=1),
}


def molar_mass(bench, species):
    """g/mol. The atomic weights are the inputs: two species that share an element share its error."""
    total = 0.0
    for element, count in ATOMS[species].items():
        value, half_width = WEIGHTS[element]
        weight = bench.shared(f"A({element})", half_width / 3**0.5, value)
        total = total + count * weight
    return total
