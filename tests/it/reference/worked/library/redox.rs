//! Permanganate and dichromate. M: Na2C2O4 133.99753856, H2O2 34.0140, Fe 55.845 g/mol.

use super::Example;

pub(super) const EXAMPLES: &[Example] = &[
    // 14.9023 − 14.7007 = 0.2016 g; 1000 × 0.2016 × 0.9990 / 133.99753856 = 1.5030007 mmol; two for five is
    // 0.6012003 mmol in 30.05 − 0.12 = 29.93 mL
    Example {
        key: "permanganate-against-oxalate",
        lots: ["", ""],
        columns: "sample_before_g sample_after_g burette_start_mL burette_end_mL",
        rows: &["1 14.9023 14.7007 0.12 30.05"],
        counted: 1,
        expected: 0.020_086_879_290_1,
    },
    // 1 mL of 0.02 mol/L finds 1.7007 mg (printed 1.701); 17.64 × 1.7007 = 30.000348 mg in 25 of 250 mL, ten times that
    // in 10 mL of the rinse, a hundred times in 100 mL
    // id: usp-h2o2
    Example {
        key: "peroxide-permanganate",
        lots: ["0.02000", ""],
        columns: "burette_start_mL burette_end_mL",
        rows: &["1 0.50 18.14", "2 18.14 35.78"],
        counted: 2,
        expected: 3.000_034_8,
    },
    // 17.3018 − 16.4903 = 0.8115 g; 0.01671 × 25.66 = 0.4287786 mmol, six times that is 2.5726716 mmol of iron,
    // × 55.845 = 143.67085 mg
    Example {
        key: "iron-dichromate",
        lots: ["0.01671", ""],
        columns: "sample_before_g sample_after_g burette_start_mL burette_end_mL",
        rows: &["1 17.3018 16.4903 0.20 25.86"],
        counted: 1,
        expected: 17.704_355_576_3,
    },
    // OpenStax Chemistry 2e, 19.1, iron ore: 2.5000 g, 19.17 mL of 0.0100 mol/L; printed 2.57 %
    // id: ost-dichromate-iron
    Example {
        key: "iron-dichromate",
        lots: ["0.0100", ""],
        columns: "sample_before_g sample_after_g burette_start_mL burette_end_mL",
        rows: &["1 12.5000 10.0000 0.00 19.17"],
        counted: 1,
        expected: 2.569_316_76,
    },
    // D. Harvey, Analytical Chemistry 2.1, ch. 9, iron ore: 0.4891 g, 36.92 mL of 0.02153 mol/L; printed 77.86 % Fe2O3,
    // that is × 2 × 55.845 / 159.687 = 54.455733 % Fe
    // id: harvey-iron-ore
    Example {
        key: "iron-dichromate",
        lots: ["0.02153", ""],
        columns: "sample_before_g sample_after_g burette_start_mL burette_end_mL",
        rows: &["1 10.4891 10.0000 0.00 36.92"],
        counted: 1,
        expected: 54.455_732_597,
    },
];
