//! What a result may be expressed as by mistake: the usual relatives of a species.

use crate::chem::Formula;

/// Families of species that stand for one another on labels and in tables: the element or ion, its oxide, its salts.
/// Common practice; the formulas are those that handbooks list content by.
const FAMILIES: [&[&str]; 16] = [
    &["Ca", "CaO", "CaCO3", "CaCl2", "CaSO4", "Ca(OH)2"],
    &["Mg", "MgO", "MgCO3", "MgCl2", "MgSO4"],
    &["Cl", "NaCl", "KCl", "HCl", "CaCl2", "AgCl"],
    &["Br", "NaBr", "KBr", "AgBr"],
    &["Fe", "FeO", "Fe2O3", "Fe3O4", "FeSO4", "FeSO4.7H2O"],
    &["Cu", "CuO", "CuSO4", "CuSO4.5H2O"],
    &["Zn", "ZnO", "ZnSO4", "ZnSO4.7H2O"],
    &["S", "SO2", "SO3", "SO4", "Na2SO4", "BaSO4", "H2SO4"],
    &["P", "P2O5", "PO4", "H3PO4"],
    &["N", "NH3", "NH4", "NO3"],
    &["Na2CO3", "NaHCO3", "CO2", "CO3", "HCO3", "Na2CO3.10H2O"],
    &["CH3COOH", "CH3COO", "CH3COONa"],
    &["C6H8O7", "C6H8O7.H2O"],
    &["H2C2O4", "H2C2O4.2H2O", "C2O4", "Na2C2O4"],
    &["Na2O", "NaOH", "Na"],
    &["K2O", "KOH", "K"],
];

/// The relatives of a species, by its composition and not by how it is written.
pub(super) fn relatives(of: &Formula) -> Vec<Formula> {
    let mut found: Vec<Formula> = Vec::new();
    for family in FAMILIES {
        let members: Vec<Formula> = family
            .iter()
            .filter_map(|f| Formula::parse(f).ok())
            .collect();
        if members.iter().any(|member| member.atoms() == of.atoms()) {
            let others = members
                .into_iter()
                .filter(|member| member.atoms() != of.atoms());
            found.extend(others);
        }
    }
    found
}
