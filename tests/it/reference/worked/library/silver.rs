//! Silver. M: NaCl 58.43976928, NaBr 102.89376928, Cl 35.45 g/mol.

use super::Example;

pub(super) const EXAMPLES: &[Example] = &[
    // 1000 × 0.7488 × 0.9995 / 58.43976928 = 12.806786 mmol in 250 mL, 1.2806786 in 25, in 25.57 − 0.10 = 25.47 mL
    Example {
        key: "silver-against-chloride",
        lots: ["", ""],
        columns: "sample_g burette_start_mL burette_end_mL",
        rows: &["1 0.7488 0.10 25.57"],
        counted: 1,
        expected: 0.050_281_844_027_8,
    },
    // 21.37 − 0.15 = 21.22 mL; 0.02015 × 21.22 = 0.427583 mmol in 100 mL, × 35.45 × 10
    Example {
        key: "spring-chloride",
        lots: ["0.02015", ""],
        columns: "burette_start_mL burette_end_mL",
        rows: &["blank 0.00 0.15", "1 0.15 21.52"],
        counted: 1,
        expected: 151.578_173_5,
    },
    // 16.2241 − 16.0200 = 0.2041 g; added 0.05012 × 50 = 2.506 mmol; left 0.04987 × 18.76 = 0.9355612; used 1.5704388,
    // × 102.89376928 = 161.58837 mg
    Example {
        key: "bromide-volhard",
        lots: ["0.04987", "0.05012"],
        columns: "sample_before_g sample_after_g burette_start_mL burette_end_mL",
        rows: &["1 16.2241 16.0200 0.10 18.86"],
        counted: 1,
        expected: 79.171_174_696_5,
    },
];
