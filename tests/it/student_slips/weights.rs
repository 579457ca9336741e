//! Standard atomic weights 2021 (CIAAW; Prohaska et al., Pure Appl. Chem. 94 (2022) 573–600), abridged where the weight is
//! an interval, and the molar masses that add up from them, g/mol.

pub const H: f64 = 1.0080;
pub const C: f64 = 12.011;
pub const N: f64 = 14.007;
pub const O: f64 = 15.999;
pub const NA: f64 = 22.989_769_28;
pub const MG: f64 = 24.305;
pub const S: f64 = 32.06;
pub const CL: f64 = 35.45;
pub const CA: f64 = 40.078;
pub const FE: f64 = 55.845;

pub const WATER: f64 = 2.0 * H + O;
/// CO3^2-; the electrons are not counted.
pub const CARBONATE: f64 = C + 3.0 * O;
pub const SODIUM_CARBONATE: f64 = 2.0 * NA + CARBONATE;
pub const HYDROGENCARBONATE: f64 = H + CARBONATE;
pub const SODIUM_HYDROGENCARBONATE: f64 = NA + HYDROGENCARBONATE;
pub const SODIUM_CHLORIDE: f64 = NA + CL;
pub const MAGNESIUM_SULFATE: f64 = MG + S + 4.0 * O;
pub const EPSOM_SALT: f64 = MAGNESIUM_SULFATE + 7.0 * WATER;
/// CH3COOH.
pub const ACETIC_ACID: f64 = 2.0 * C + 4.0 * H + 2.0 * O;
/// CH3COO^-.
pub const ACETATE: f64 = ACETIC_ACID - H;
pub const CALCIUM_OXIDE: f64 = CA + O;
pub const CALCIUM_CARBONATE: f64 = CA + CARBONATE;
/// H2C2O4.
pub const OXALIC_ACID: f64 = 2.0 * H + 2.0 * C + 4.0 * O;
pub const OXALIC_ACID_DIHYDRATE: f64 = OXALIC_ACID + 2.0 * WATER;
/// Fe2O3.
pub const IRON_OXIDE: f64 = 2.0 * FE + 3.0 * O;
/// Fe(NH4)2(SO4)2.
pub const MOHRS_SALT_ANHYDROUS: f64 = FE + 2.0 * (N + 4.0 * H) + 2.0 * (S + 4.0 * O);
pub const MOHRS_SALT: f64 = MOHRS_SALT_ANHYDROUS + 6.0 * WATER;
