//! Acids and bases. M: C8H5KO4 204.2223, Na2CO3 105.98753856, CH3COOH 60.0520, Mg(OH)2 58.3190,
//! CaCO3 100.0860 g/mol.

use super::Example;

pub(super) const EXAMPLES: &[Example] = &[
    // 0.02012 × 24.85 = 0.499982 mmol in 100 mL, half of it as CaCO3: 0.249991 × 100.0860 = 25.0205992 mg, 250.2 mg/L
    Example {
        key: "water-alkalinity",
        lots: ["0.02012", ""],
        columns: "burette_start_mL burette_end_mL",
        rows: &["1 0.00 24.85"],
        counted: 1,
        expected: 250.205_992_260,
    },
    // added 0.9980 × 25 = 24.95 mmol to the whole; left 0.1004 × 11.35 × 250/25 = 11.3954; used 13.5546, half of it is
    // 6.7773 mmol of C9H8O4, × 180.159 = 1220.9916 mg in 1.5124 g, × 0.6000 / 1.5124 in a tablet
    Example {
        key: "aspirin-tablet",
        lots: ["0.1004", "0.9980"],
        columns: "sample_g burette_start_mL burette_end_mL",
        rows: &["1 1.5124 0.10 11.45"],
        counted: 1,
        expected: 484.392_326_382,
    },
    // 0.1004 × 27.52 = 2.763008 mmol in 16.8432 − 16.4216 = 0.4216 g: 421.6 / 2.763008 g/mol
    Example {
        key: "acid-molar-mass",
        lots: ["0.1004", ""],
        columns: "sample_before_g sample_after_g burette_start_mL burette_end_mL",
        rows: &["1 16.8432 16.4216 0.00 27.52"],
        counted: 1,
        expected: 152.587_325_118,
    },
    // 16.8432 − 16.3309 = 0.5123 g; 1000 × 0.5123 × 0.9998 / 204.2223 = 2.508039 mmol; 25.10 − 0.04 = 25.06 mL;
    // 2.508039 / 25.06 = 0.10008137
    Example {
        key: "naoh-against-khp",
        lots: ["", ""],
        columns: "sample_before_g sample_after_g burette_start_mL burette_end_mL",
        rows: &["1 16.8432 16.3309 0.04 25.10"],
        counted: 1,
        expected: 0.100_081_373_895,
    },
    // 1: 1000 × 0.1532 × 0.9995 / 105.98753856 = 1.444730 mmol, twice that over 28.61 mL is 0.10099477
    // 2: 1000 × 0.1478 × 0.9995 / 105.98753856 = 1.393806 mmol, twice that over 27.64 mL is 0.10085429
    // mean of the two concentrations 0.10092453
    Example {
        key: "hcl-against-carbonate",
        lots: ["", ""],
        columns: "sample_g burette_start_mL burette_end_mL",
        rows: &["1 0.1532 0.12 28.73", "2 0.1478 0.35 27.99"],
        counted: 2,
        expected: 0.100_924_532_055,
    },
    // 0.10008137 × 21.36 = 2.137738 mmol in 25 of 100 mL, 8.550953 in 10 mL of vinegar; × 60.0520 = 513.50179 mg
    Example {
        key: "vinegar-own-hydroxide",
        lots: ["0.10008137", ""],
        columns: "burette_start_mL burette_end_mL",
        rows: &["1 0.30 21.66"],
        counted: 1,
        expected: 5.135_017_846_85,
    },
    // 21.36 and 21.42 agree within 0.10 mL and 21.90 does not; the rough one is not used. 0.0998 × 21.39 = 2.134722 mmol
    // in 25 of 250 mL, 21.34722 in 25 mL of vinegar; × 60.0520 / 1000 = 1.281943 g in 25 mL, 5.1277730 in 100
    Example {
        key: "vinegar-acidity",
        lots: ["0.0998", ""],
        columns: "burette_start_mL burette_end_mL",
        rows: &[
            "rough 0.00 22.40",
            "1 0.10 21.46",
            "2 21.46 43.36",
            "3 0.05 21.47",
        ],
        counted: 2,
        expected: 5.127_773_021_76,
    },
    // 1: 0.2488 × 33.10 / 9.86 × 60.0520 = 50.156697 g/L; 2: 0.2488 × 32.90 / 9.80 × 60.0520 = 50.158862; mean
    Example {
        key: "vinegar-cylinder",
        lots: ["0.2488", ""],
        columns: "burette_start_mL burette_end_mL sample_mL",
        rows: &["1 0.00 33.10 9.86", "2 0.50 33.40 9.80"],
        counted: 2,
        expected: 50.157_777_579_9,
    },
    // added 0.2012 × 50 = 10.06 mmol; left 0.1987 × 24.35 = 4.838345; used 5.221655, half of it 2.6108275 mmol of
    // Mg(OH)2, × 58.3190 = 152.26085 mg in 15.4312 − 15.1328 = 0.2984 g
    Example {
        key: "antacid-back",
        lots: ["0.1987", "0.2012"],
        columns: "sample_before_g sample_after_g burette_start_mL burette_end_mL",
        rows: &["1 15.4312 15.1328 0.20 24.55"],
        counted: 1,
        expected: 51.025_753_677_1,
    },
    // added 0.5010 × 25 = 12.525 mmol; left 0.2494 × 19.80 = 4.93812; used 7.58688, half of it 3.79344 mmol of CaCO3,
    // × 100.0860 = 379.67024 mg in 0.4025 g
    Example {
        key: "eggshell-carbonate",
        lots: ["0.2494", "0.5010"],
        columns: "sample_g burette_start_mL burette_end_mL",
        rows: &["1 0.4025 0.10 19.90"],
        counted: 1,
        expected: 94.328_008_904_3,
    },
];
