//! EDTA. M: CaCO3 100.0860, Fe 55.845 g/mol.

use super::Example;

pub(super) const EXAMPLES: &[Example] = &[
    // 12.9041 − 12.6537 = 0.2504 g; 1000 × 0.2504 × 0.9995 / 100.0860 = 2.5005975 mmol in 250 mL, 0.25005975 in 25,
    // in 25.12 mL
    Example {
        key: "edta-against-calcium-carbonate",
        lots: ["", ""],
        columns: "sample_before_g sample_after_g burette_start_mL burette_end_mL",
        rows: &["1 12.9041 12.6537 0.08 25.20"],
        counted: 1,
        expected: 0.009_954_607_827_08,
    },
    // 1: 0.01012 × 12.40 / 49.6 × 1000 × 100.0860 = 253.21758 mg/L; 2: 0.01012 × 12.48 / 49.2 × 1000 × 100.0860 =
    // 256.92320; mean
    Example {
        key: "well-water-hardness",
        lots: ["0.01012", ""],
        columns: "burette_start_mL burette_end_mL sample_mL",
        rows: &["1 0.05 12.45 49.6", "2 12.45 24.93 49.2"],
        counted: 2,
        expected: 255.070_391_561,
    },
    // 0.01008 × 21.35 = 0.215208 mmol in 98.6 mL
    Example {
        key: "hard-water-cylinder",
        lots: ["0.01008", ""],
        columns: "burette_start_mL burette_end_mL sample_mL",
        rows: &["1 0.25 21.60 98.6"],
        counted: 1,
        expected: 2.182_636_916_84,
    },
    // 0.02006 × 26.85 = 0.538611 mmol in 25 mL, × 55.845 / 25
    Example {
        key: "iron-tablet-edta",
        lots: ["0.02006", ""],
        columns: "burette_start_mL burette_end_mL",
        rows: &["1 0.10 26.95"],
        counted: 1,
        expected: 1.203_149_251_8,
    },
];
