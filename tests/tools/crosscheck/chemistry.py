"""Reactions with the ratios a chemist reads off them, each worked out by hand, and what the analyte is expressed as.

`expressed` lists species with their moles per mole of analyte.
"""

EDTA = "C10H14N2O8^2-"
IODINE = "I2 + 2 S2O3^2- -> 2 I^- + S4O6^2-"

# analyte per titrant
DIRECT = [
    dict(reactions=["HCl + NaOH -> NaCl + H2O"], titrant="NaOH", analyte="HCl",
         analyte_per_titrant=1, expressed=[("HCl", 1)]),
    dict(reactions=["H2SO4 + 2 NaOH -> Na2SO4 + 2 H2O"], titrant="NaOH", analyte="H2SO4",
         analyte_per_titrant=1 / 2, expressed=[("H2SO4", 1), ("SO3", 1)]),
    dict(reactions=["CH3COOH + NaOH -> CH3COONa + H2O"], titrant="NaOH", analyte="CH3COOH",
         analyte_per_titrant=1, expressed=[("CH3COOH", 1)]),
    dict(reactions=[f"Ca^2+ + {EDTA} -> CaC10H12N2O8^2- + 2 H^+"], titrant=EDTA, analyte="Ca^2+",
         analyte_per_titrant=1, expressed=[("CaCO3", 1), ("CaO", 1), ("Ca", 1)]),
    dict(reactions=["5 Fe^2+ + MnO4^- + 8 H^+ -> 5 Fe^3+ + Mn^2+ + 4 H2O"], titrant="MnO4^-",
         analyte="Fe^2+", analyte_per_titrant=5,
         expressed=[("Fe", 1), ("Fe2O3", 1 / 2), ("FeSO4.7H2O", 1)]),
    dict(reactions=["6 Fe^2+ + Cr2O7^2- + 14 H^+ -> 6 Fe^3+ + 2 Cr^3+ + 7 H2O"],
         titrant="Cr2O7^2-", analyte="Fe^2+", analyte_per_titrant=6,
         expressed=[("Fe", 1), ("Fe2O3", 1 / 2)]),
    dict(reactions=["Ag^+ + Cl^- -> AgCl"], titrant="Ag^+", analyte="Cl^-",
         analyte_per_titrant=1, expressed=[("Cl", 1), ("NaCl", 1), ("KCl", 1)]),
]

INDIRECT = [
    dict(reactions=["2 Cu^2+ + 4 I^- -> 2 CuI + I2", IODINE], titrant="S2O3^2-",
         analyte="Cu^2+", analyte_per_titrant=1, expressed=[("Cu", 1), ("CuO", 1), ("CuSO4.5H2O", 1)]),
    dict(reactions=["ClO^- + 2 I^- + 2 H^+ -> Cl^- + I2 + H2O", IODINE], titrant="S2O3^2-",
         analyte="ClO^-", analyte_per_titrant=1 / 2, expressed=[("NaClO", 1), ("Cl2", 1 / 2)]),
    dict(reactions=["IO3^- + 5 I^- + 6 H^+ -> 3 I2 + 3 H2O", IODINE], titrant="S2O3^2-",
         analyte="IO3^-", analyte_per_titrant=1 / 6, expressed=[("KIO3", 1)]),
    dict(reactions=["H2O2 + 2 I^- + 2 H^+ -> I2 + 2 H2O", IODINE], titrant="S2O3^2-",
         analyte="H2O2", analyte_per_titrant=1 / 2, expressed=[("H2O2", 1)]),
    # dissolved oxygen after Winkler: O2 makes 2 MnO2, each makes I2, each takes 2 thiosulfate
    dict(reactions=["2 Mn^2+ + 4 OH^- + O2 -> 2 MnO2 + 2 H2O",
                    "MnO2 + 2 I^- + 4 H^+ -> Mn^2+ + I2 + 2 H2O", IODINE], titrant="S2O3^2-",
         analyte="O2", analyte_per_titrant=1 / 4, expressed=[("O2", 1)]),
]

BACK = [
    dict(reactions=["CaCO3 + 2 HCl -> CaCl2 + CO2 + H2O", "HCl + NaOH -> NaCl + H2O"],
         titrant="NaOH", excess="HCl", analyte="CaCO3", analyte_per_excess=1 / 2,
         excess_per_titrant=1, expressed=[("CaCO3", 1), ("CaO", 1)]),
    dict(reactions=["Mg(OH)2 + 2 HCl -> MgCl2 + 2 H2O", "HCl + NaOH -> NaCl + H2O"],
         titrant="NaOH", excess="HCl", analyte="Mg(OH)2", analyte_per_excess=1 / 2,
         excess_per_titrant=1, expressed=[("Mg(OH)2", 1), ("MgO", 1), ("Mg", 1)]),
    dict(reactions=[f"Al^3+ + {EDTA} -> AlC10H12N2O8^- + 2 H^+",
                    f"{EDTA} + Zn^2+ -> ZnC10H12N2O8^2- + 2 H^+"],
         titrant="Zn^2+", excess=EDTA, analyte="Al^3+", analyte_per_excess=1,
         excess_per_titrant=1, expressed=[("Al", 1), ("Al2O3", 1 / 2), ("Al(OH)3", 1)]),
    dict(reactions=["Ag^+ + Cl^- -> AgCl", "Ag^+ + SCN^- -> AgSCN"],
         titrant="SCN^-", excess="Ag^+", analyte="Cl^-", analyte_per_excess=1,
         excess_per_titrant=1, expressed=[("Cl", 1), ("NaCl", 1)]),
    dict(reactions=["MnO2 + H2C2O4 + 2 H^+ -> Mn^2+ + 2 CO2 + 2 H2O",
                    "5 H2C2O4 + 2 MnO4^- + 6 H^+ -> 10 CO2 + 2 Mn^2+ + 8 H2O"],
         titrant="MnO4^-", excess="H2C2O4", analyte="MnO2", analyte_per_excess=1,
         excess_per_titrant=5 / 2, expressed=[("MnO2", 1), ("Mn", 1)]),
]

# titrant per weighed; the result is the titrant's
STANDARDISATION = [
    dict(reactions=["C8H5KO4 + NaOH -> C8H4KNaO4 + H2O"], titrant="NaOH", weighed="C8H5KO4",
         titrant_per_weighed=1),
    dict(reactions=["Na2CO3 + 2 HCl -> 2 NaCl + CO2 + H2O"], titrant="HCl", weighed="Na2CO3",
         titrant_per_weighed=2),
    dict(reactions=["CO3^2- + 2 H^+ -> CO2 + H2O"], titrant="H^+", weighed="Na2CO3",
         titrant_per_weighed=2),
    dict(reactions=["H2C2O4 + 2 NaOH -> Na2C2O4 + 2 H2O"], titrant="NaOH", weighed="H2C2O4.2H2O",
         titrant_per_weighed=2),
    dict(reactions=[f"Ca^2+ + {EDTA} -> CaC10H12N2O8^2- + 2 H^+"], titrant=EDTA, weighed="CaCO3",
         titrant_per_weighed=1),
    dict(reactions=["IO3^- + 5 I^- + 6 H^+ -> 3 I2 + 3 H2O", IODINE], titrant="S2O3^2-",
         weighed="KIO3", titrant_per_weighed=6),
    dict(reactions=["Cr2O7^2- + 6 I^- + 14 H^+ -> 2 Cr^3+ + 3 I2 + 7 H2O", IODINE],
         titrant="S2O3^2-", weighed="K2Cr2O7", titrant_per_weighed=6),
]

# n(analyte) / c(titrant) from the titres t1 and t2, both from the start; `uses` = titrant per (analyte, other) to each
CARBONATE = ["CO3^2- + H^+ -> HCO3^-"]
TO_CO2 = ["HCO3^- + H^+ -> CO2 + H2O"]
SAME = [
    # t1 = n(CO3), t2 = 2 n(CO3) + n(HCO3)
    dict(reactions=CARBONATE, then=TO_CO2, titrant="H^+", analyte="CO3^2-", other="HCO3^-",
         analyte_per_titre=(1, 0), uses=((1, 0), (2, 1)),
         expressed=[("CO3^2-", 1), ("Na2CO3", 1), ("CaCO3", 1)]),
    dict(reactions=CARBONATE, then=TO_CO2, titrant="H^+", analyte="HCO3^-", other="CO3^2-",
         analyte_per_titre=(-2, 1), uses=((0, 1), (1, 2)),
         expressed=[("HCO3^-", 1), ("NaHCO3", 1)]),
    # t1 = n(OH) + n(CO3), t2 = n(OH) + 2 n(CO3)
    dict(reactions=["OH^- + H^+ -> H2O", *CARBONATE], then=TO_CO2, titrant="H^+",
         analyte="CO3^2-", other="OH^-", analyte_per_titre=(-1, 1), uses=((1, 1), (2, 1)),
         expressed=[("Na2CO3", 1), ("CO3^2-", 1)]),
    dict(reactions=["OH^- + H^+ -> H2O", *CARBONATE], then=TO_CO2, titrant="H^+",
         analyte="OH^-", other="CO3^2-", analyte_per_titre=(2, -1), uses=((1, 1), (1, 2)),
         expressed=[("NaOH", 1)]),
    # t1 = n(H3PO4), t2 = 2 n(H3PO4) + n(H2PO4)
    dict(reactions=["H3PO4 + OH^- -> H2PO4^- + H2O"], then=["H2PO4^- + OH^- -> HPO4^2- + H2O"],
         titrant="OH^-", analyte="H3PO4", other="H2PO4^-", analyte_per_titre=(1, 0),
         uses=((1, 0), (2, 1)), expressed=[("H3PO4", 1), ("P", 1), ("P2O5", 1 / 2)]),
]

BOTH = [f"{metal}^2+ + {EDTA} -> {metal}C10H12N2O8^2- + 2 H^+" for metal in ("Ca", "Mg")]
ANOTHER = [
    # t1 = n(Ca) + n(Mg), t2 = n(Ca)
    dict(reactions=BOTH, then=BOTH[:1], titrant=EDTA, analyte="Mg^2+", other="Ca^2+",
         analyte_per_titre=(1, -1), uses=((1, 1), (0, 1)), expressed=[("Mg", 1), ("MgO", 1)]),
    dict(reactions=BOTH, then=BOTH[:1], titrant=EDTA, analyte="Ca^2+", other="Mg^2+",
         analyte_per_titre=(0, 1), uses=((1, 1), (1, 0)), expressed=[("Ca", 1), ("CaCO3", 1)]),
]

GRAVIMETRIC = [
    dict(reactions=["Ag^+ + Cl^- -> AgCl"], precipitate="AgCl", analyte="Cl^-",
         analyte_per_precipitate=1, expressed=[("Cl", 1), ("NaCl", 1), ("Cl^-", 1)]),
    dict(reactions=["Ba^2+ + SO4^2- -> BaSO4"], precipitate="BaSO4", analyte="SO4^2-",
         analyte_per_precipitate=1, expressed=[("SO4^2-", 1), ("SO3", 1), ("Na2SO4", 1)]),
    dict(reactions=["Fe^3+ + 3 OH^- -> Fe(OH)3", "2 Fe(OH)3 -> Fe2O3 + 3 H2O"],
         precipitate="Fe2O3", analyte="Fe^3+", analyte_per_precipitate=2,
         expressed=[("Fe", 1), ("Fe2O3", 1 / 2)]),
    dict(reactions=["Ni^2+ + 2 C4H8N2O2 -> NiC8H14N4O4 + 2 H^+"], precipitate="NiC8H14N4O4",
         analyte="Ni^2+", analyte_per_precipitate=1, expressed=[("Ni", 1)]),
    dict(reactions=["Mg^2+ + NH4^+ + PO4^3- -> MgNH4PO4",
                    "2 MgNH4PO4 -> Mg2P2O7 + 2 NH3 + H2O"], precipitate="Mg2P2O7",
         analyte="Mg^2+", analyte_per_precipitate=2, expressed=[("Mg", 1), ("MgO", 1)]),
]

# stock species, and moles of analyte per mole of it
LINE = [
    dict(stock="KMnO4", analyte="MnO4^-", analyte_per_species=1, expressed=[("KMnO4", 1), ("Mn", 1)]),
    dict(stock="Fe^2+", analyte="Fe^2+", analyte_per_species=1, expressed=[("Fe", 1), ("Fe^2+", 1)]),
    dict(stock="Fe2(SO4)3", analyte="Fe^3+", analyte_per_species=2, expressed=[("Fe", 1), ("Fe2O3", 1 / 2)]),
    dict(stock="CuSO4.5H2O", analyte="Cu^2+", analyte_per_species=1, expressed=[("Cu", 1), ("CuO", 1)]),
    dict(stock="KH2PO4", analyte="H2PO4^-", analyte_per_species=1, expressed=[("P", 1), ("P2O5", 1 / 2)]),
]

# two in one solution, and their absorptivities at two wavelengths, L/(mol cm); the other has to show at the second
PAIRS = [
    dict(analyte="MnO4^-", other="Cr2O7^2-", absorptivities=((2350, 11), (95, 370)),
         expressed=[("Mn", 1), ("KMnO4", 1)]),
    dict(analyte="C16H9N4Na3O9S2", other="C37H34N2Na2O9S3", absorptivities=((26500, 11200), (60, 128000)),
         expressed=[("C16H9N4Na3O9S2", 1)]),
    dict(analyte="Co^2+", other="Cr^3+", absorptivities=((4.8, 3.1), (0.6, 13.2)),
         expressed=[("Co", 1), ("Co^2+", 1)]),
]

# a mixture of two and nothing else; titrant per mole of analyte and of the other
MIXTURES = [
    dict(reactions=["NaCl + Ag^+ -> AgCl + Na^+", "KCl + Ag^+ -> AgCl + K^+"], titrant="Ag^+", analyte="NaCl",
         other="KCl", titrant_per=(1, 1), expressed=[("NaCl", 1), ("Na", 1)]),
    dict(reactions=["NaCl + Ag^+ -> AgCl + Na^+", "NaBr + Ag^+ -> AgBr + Na^+"], titrant="Ag^+", analyte="NaBr",
         other="NaCl", titrant_per=(1, 1), expressed=[("NaBr", 1)]),
    dict(reactions=["Na2CO3 + 2 HCl -> 2 NaCl + CO2 + H2O", "NaHCO3 + HCl -> NaCl + CO2 + H2O"], titrant="HCl",
         analyte="Na2CO3", other="NaHCO3", titrant_per=(2, 1), expressed=[("Na2CO3", 1), ("CO2", 1)]),
    dict(reactions=["Na2CO3 + 2 HCl -> 2 NaCl + CO2 + H2O", "K2CO3 + 2 HCl -> 2 KCl + CO2 + H2O"], titrant="HCl",
         analyte="K2CO3", other="Na2CO3", titrant_per=(2, 2), expressed=[("K2CO3", 1), ("K2O", 1)]),
]
