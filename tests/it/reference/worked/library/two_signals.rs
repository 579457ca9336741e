//! Standard additions, and two analytes from two signals. M: Cu 63.546, Fe 55.845, tartrazine 534.35630784, NaCl 58.43976928,
//! KCl 74.5483, Na2CO3 105.98753856, NaHCO3 84.00576928 g/mol.

use super::Example;

pub(super) const EXAMPLES: &[Example] = &[
    // 0.3118 + 6905.0633 · c and 0.3092 + 6949.3671 · c: zero at 4.51552704 and 4.44932605 × 10⁻⁵ mol/L in 50 mL, of 10 mL,
    // × 63546: 14.3471841 and 14.1368437
    Example {
        key: "copper-addition-flame",
        lots: ["0.000395", ""],
        columns: "vessel_absorbance vessel_absorbance_2 vessel_absorbance_3 vessel_absorbance_4 vessel_absorbance_5",
        rows: &[
            "1 0.312 0.421 0.529 0.640 0.748",
            "2 0.309 0.419 0.530 0.637 0.749",
        ],
        counted: 2,
        expected: 14.242_013_856_301,
    },
    // 0.2868 + 10882.9365 · c and 0.2912 + 10902.7778 · c: zero at 2.63531814 and 2.67087898 × 10⁻⁵ mol/L in 50 mL, of 25 mL,
    // × 55845: 2.9433868 and 2.9831047
    Example {
        key: "iron-wine-addition",
        lots: ["0.000252", ""],
        columns: "vessel_absorbance vessel_absorbance_2 vessel_absorbance_3 vessel_absorbance_4 vessel_absorbance_5",
        rows: &[
            "1 0.287 0.396 0.507 0.615 0.726",
            "2 0.291 0.402 0.510 0.621 0.731",
        ],
        counted: 2,
        expected: 2.963_245_782_376,
    },
    // (A₁ · 128000 − A₂ · 11200) / (26500 · 128000 − 11200 · 60) = 1.72010493, 1.70977269, 1.73010691 × 10⁻⁵ mol/L in 100 mL,
    // of 10 mL: 91.9148918, 91.3627822, 92.4493540 mg/L
    Example {
        key: "food-colours",
        lots: ["", ""],
        columns: "absorbance absorbance_second",
        rows: &["1 0.512 0.643", "2 0.509 0.640", "3 0.515 0.647"],
        counted: 3,
        expected: 91.909_009_313_890,
    },
    // (74.5483 · 0.1003 · V − 1000 · m) / (74.5483 − 58.43976928): 1.49338613, 1.46487551, 1.48298952 mmol
    Example {
        key: "low-sodium-salt",
        lots: ["0.1003", ""],
        columns: "sample_before_g sample_after_g burette_start_mL burette_end_mL",
        rows: &[
            "1 15.2034 15.0000 0.00 30.42",
            "2 15.0000 14.8013 0.27 30.00",
            "3 14.8013 14.6002 0.11 30.20",
        ],
        counted: 3,
        expected: 43.028_813_802_080,
    },
    // (84.00576928 · 1.003 · V − 1504.2) / (2 · 84.00576928 − 105.98753856): 9.87288145, 9.92722028, 9.84571204 mmol
    Example {
        key: "washing-soda-mass",
        lots: ["0.1003", ""],
        columns: "sample_before_g sample_after_g burette_start_mL burette_end_mL",
        rows: &[
            "1 16.5042 15.0000 0.00 25.12",
            "2 16.5042 15.0000 0.24 25.40",
            "3 16.5042 15.0000 0.10 25.20",
        ],
        counted: 3,
        expected: 69.629_190_037_086,
    },
];
